"""A plain page for paper and phones: no script, no network, text escaped."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape

from covermap.reports.templates import whole_page
from covermap.wording.language import say

STYLE = """
body{font:16px/1.45 system-ui,sans-serif;color:#111;background:#fff;max-width:46rem;
margin:1.2rem auto;padding:0 1rem}
h1{font-size:1.5rem;line-height:1.2;margin:.2rem 0 .6rem}h2{font-size:1.1rem;margin:1.4rem 0 .4rem}
p{margin:.4rem 0}.answer{font-size:1.15rem;border-left:4px solid #4F6D6C;padding:.3rem .8rem;margin:.8rem 0}
table{border-collapse:collapse;width:100%;font-size:.92rem}
th,td{border:1px solid #767676;padding:.3rem .45rem;text-align:left;vertical-align:top}
th{background:#F1EFEA}.form th:first-child{width:46%}.field td:nth-child(3){width:32%}
td.n{text-align:right;white-space:nowrap}td.lost{background:#F3DFD9;white-space:nowrap}
.wide{overflow-x:auto}table.many{font-size:.82rem}
table.many td:nth-child(2){min-width:11em}td.box{height:2.1rem}
.option{white-space:nowrap}figure{margin:.8rem 0}
figure svg{width:100%;height:auto}ul{margin:.3rem 0;padding-left:1.2rem}
.cautions{font-size:.88rem;border-top:1px solid #767676;margin-top:1.4rem;padding-top:.5rem}
.map{display:flex;flex-wrap:wrap;gap:.4rem 1rem}.map img{max-width:100%;height:auto}
figcaption{display:grid;gap:.2rem;align-content:start;font-size:.92rem}
figcaption i{display:inline-block;width:1.1rem;height:1.1rem;border-radius:4px;vertical-align:-.2rem;
margin-right:.5rem}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}
@media print{.wide{overflow:visible}th,td{overflow-wrap:anywhere}
table.many{font-size:.72rem}table.many th,table.many td{padding:.2rem .25rem}
table.many th{min-width:3.4em}table.many th:first-child{min-width:4.4em}
table.many td:nth-child(2){min-width:8em}td.lost{white-space:normal}
body{margin:0;max-width:none;font-size:11pt}h2{break-after:avoid}tr,figure{break-inside:avoid}}
@page{size:A4;margin:14mm}
"""


def page(title: str, parts: Iterable[str], cautions: Sequence[str]) -> str:
    """Return a whole HTML page; parts are HTML already, title and cautions are text."""
    content = "\n".join([f"<h1>{escape(title)}</h1>", *(part for part in parts if part)])
    footer = f'<footer class="cautions"><h2>{escape(say("page.care"))}</h2>{bullets(cautions)}</footer>'
    return whole_page(title, STYLE, content, footer)


def heading(text: str) -> str:
    """Return a second-level heading."""
    return f"<h2>{escape(text)}</h2>"


def paragraph(text: str, kind: str = "") -> str:
    """Return a paragraph; kind is a class of the style sheet."""
    return f'<p class="{kind}">{escape(text)}</p>' if kind else f"<p>{escape(text)}</p>"


def bullets(sentences: Sequence[str]) -> str:
    """Return sentences as a list, nothing where there are none."""
    if not sentences:
        return ""
    return "<ul>" + "".join(f"<li>{_unbroken(escape(sentence))}</li>" for sentence in sentences) + "</ul>"


def _unbroken(text: str) -> str:
    """Return escaped text in which no option of a command is broken at its dashes."""
    return re.sub(r"(?<![\w-])--[a-z][\w-]*", r'<span class="option">\g<0></span>', text)


def section(title: str, sentences: Sequence[str]) -> str:
    """Return a heading with a list under it, nothing where there are no sentences."""
    return heading(title) + bullets(sentences) if sentences else ""


def table(columns: Sequence[str], rows: Iterable[Sequence[object]], kind: str = "") -> str:
    """Return a table; short text that starts with a digit or sign stands to the right.

    kind : a class of the style sheet: form (wide answers), field (wide third column) or many (many columns)
    """
    # Names of antennas break at their underscores first.
    head = "".join(f"<th>{escape(column).replace('_', '_<wbr>')}</th>" for column in columns)
    body = "".join("<tr>" + "".join(_cell(value) for value in row) + "</tr>" for row in rows)
    opening = f'<table class="{kind}">' if kind else "<table>"
    whole = f"{opening}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    return f'<div class="wide" tabindex="0">{whole}</div>'  # scrolled by its keys where it is too wide


def _cell(value: object) -> str:
    text = "" if value is None else str(value)
    if text == BLANK:
        return '<td class="box"></td>'
    if text.startswith(CROSS):
        return f'<td class="lost">{escape(text)}</td>'
    is_number = text[:1].isdigit() or (text[:1] in "+-−" and text[1:2].isdigit())
    return (
        f'<td class="n">{escape(text)}</td>' if is_number and len(text) < 17 else f"<td>{escape(text)}</td>"
    )


def picture(png_base64: str, words: str, width_px: int, key: Sequence[tuple[str, str]]) -> str:
    """Return a picture with the fills of its key: (fill, words)."""
    entries = "".join(
        f'<span><i style="background:{escape(fill)}"></i>{escape(name)}</span>' for fill, name in key
    )
    return (
        f'<figure class="map"><img alt="{escape(words)}" width="{width_px}" '
        f'src="data:image/png;base64,{png_base64}"><figcaption>{entries}</figcaption></figure>'
    )


CROSS = "✕"  # before what an antenna did not bring
BLANK = "\x00blank"
"""A cell to be written in by hand."""
