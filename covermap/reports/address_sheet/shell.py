"""The sheet's page: style, head, and small pieces of HTML; every text is escaped here."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from covermap.reports.templates import whole_page
from covermap.wording.palette import INK_DARK, INK_LIGHT, TIERS

STYLE = """
*{box-sizing:border-box}
body{font:16px/1.45 -apple-system,"Segoe UI",Roboto,system-ui,sans-serif;color:#15181C;background:#fff;
max-width:794px;margin:0 auto;padding:32px 44px 48px;font-variant-numeric:tabular-nums}
header{padding-bottom:12px}header p{margin:0;font-size:15px}
h1{font-size:30px;line-height:1.15;letter-spacing:-.015em;margin:4px 0 6px;overflow-wrap:anywhere}
h2{font-size:18px;margin:0 0 8px}h3{font-size:16px;margin:16px 0 4px}p{margin:8px 0}
.soft,small{color:#4A4E54;font-size:14px}
section{border-top:2px solid #15181C;padding:12px 0 20px;margin-top:8px}
.big{display:flex;gap:16px;align-items:center}.big p{font-size:20px;line-height:1.35;margin:0}
.sq{display:inline-block;width:28px;height:28px;line-height:28px;text-align:center;border-radius:4px;
font-size:15px;font-weight:700}
.big .sq{width:56px;height:56px;line-height:56px;font-size:26px;border-radius:6px;flex:none}
table{border-collapse:collapse;width:100%}
th{text-align:left;font-size:14px;font-weight:600;color:#4A4E54;padding:4px 12px 4px 0;vertical-align:bottom}
td{padding:7px 12px 7px 0;border-top:1px solid #CFC8BA;vertical-align:top;line-height:1.3}
.n{text-align:right;white-space:nowrap}th.n{text-align:right}
thead td{border:0;padding-top:0;padding-bottom:0}
tr.g td{border-top:1px solid #15181C;padding-top:10px}tr.chosen td{font-weight:650}
tr.chosen small{font-weight:400}
.k1{white-space:nowrap}.k td{padding:4px 12px 4px 0}
.id{font-style:normal;font-weight:700;display:inline-block;width:25px;height:25px;line-height:22px;
text-align:center;border:1.5px solid #15181C;border-radius:13px;font-size:13px}
i.id.more{width:auto;padding:0 3px}
ul{margin:4px 0;padding-left:20px}li{padding:2px 0}
svg{width:100%;height:auto;display:block;margin-top:4px}
svg text{fill:#15181C;font-family:-apple-system,"Segoe UI",Roboto,system-ui,sans-serif}
.day td{border:1px solid #8C887F;height:44px;padding:8px}.day th{padding:4px 8px}
code{font-size:14px}
.note{border-left:4px solid #15181C;padding:2px 0 2px 12px}
.path{break-inside:avoid}
@media (max-width:600px){body{padding:16px 16px 32px}h1{font-size:26px}.wide{overflow-x:auto}
table{font-size:14px}td,th{padding-right:7px}.wide svg{min-width:480px}}
.why p{margin:4px 0}
@media (min-width:700px){.paths{display:grid;grid-template-columns:minmax(0,1fr) minmax(0,1fr);gap:0 24px}
.paths h3{font-size:14px}}
@media screen and (min-width:700px){.path{min-width:0}.paths .wide{overflow-x:auto}
.paths th,.paths td{padding-right:8px}.paths .k td{font-size:14px}
.paths .k th{font-size:12px;white-space:normal}}
@media print{body{padding:0;max-width:none;font-size:7.9pt;line-height:1.27}
header{padding-bottom:3.4px}header p{font-size:7.7pt}h1{font-size:15.5pt;margin:0 0 1.7px}
.big{gap:10.3px}.big p{font-size:11.2pt;line-height:1.25}
.big .sq{width:39.6px;height:39.6px;line-height:39.6px;font-size:18.9px}
h2{font-size:10.3pt;margin:0 0 2.6px}h3{font-size:8.6pt;margin:5.2px 0 0.9px}p{margin:3.4px 0}
h2,h3,tr.g{break-after:avoid}tr,figure,.path,.whole{break-inside:avoid}
.soft,small,th,code{font-size:7.3pt}td{padding:2.1px 6.9px 2.1px 0;line-height:1.22}
th{padding:0.9px 6.9px 0.9px 0}
section{padding:4.4px 0 4.6px;margin-top:2px}tr.g td{padding-top:3.4px}
.sq{width:18.9px;height:18.9px;line-height:18.9px;font-size:10.3px}
.id{width:17.2px;height:17.2px;line-height:15.5px;font-size:8.6px;border-width:0.9px}
.day td{height:16.4px;padding:0.4px 5.2px}
.day .id{width:14px;height:14px;line-height:13px;font-size:8px}
.day th{padding:0.9px 5.2px}.k td{padding:0.9px 5.2px 0.9px 0}
.wide{overflow:visible}.aim svg{width:53%;margin:0 auto}
.paths{display:grid;gap:0 16px}.of1{grid-template-columns:minmax(0,1fr)}
.of2{grid-template-columns:minmax(0,1fr) minmax(0,1fr)}
.of3{grid-template-columns:minmax(0,1fr) minmax(0,1fr) minmax(0,1fr)}
.second .paths td,.second .paths th{font-size:6.3pt;padding:0.9px 4.3px 0.9px 0}
.paths h3{font-size:7.3pt}.paths .n{white-space:normal}
.pair{display:grid;grid-template-columns:minmax(0,1fr) minmax(0,1.9fr);gap:0 18.9px}
.by_aim br,.heights br,.outlets br{display:none}.heights small,.outlets small{margin-left:5px}
.second .by_aim small,.second .heights small{font-size:6.2pt}.second .outlets td{padding:0.8px 5px 0.8px 0}
.second .by_aim td{padding-top:0.8px;padding-bottom:0.8px}
.second .heights td{padding:0.4px 5px 0.6px 0;font-size:6.6pt;line-height:1.12}
.second p{margin:2.2px 0}
.heights th:nth-child(5){width:24%}.heights th:nth-child(6){width:17%}
.by_aim td:last-child small{margin-left:6px}.by_aim{table-layout:fixed}
.by_aim thead td{width:3.5%}.by_aim th:nth-child(2){width:20.5%}.by_aim th:nth-child(3){width:17.5%}
.by_aim th:nth-child(4){width:7%}.by_aim th:nth-child(5){width:8%}
.by_aim th:nth-child(4),.by_aim th:nth-child(5){white-space:normal}
.by_aim td:nth-child(3){white-space:nowrap}
.second .pair .if td{padding:0.4px 4px 0.4px 0;line-height:1.12;white-space:normal}
.second .if td{font-size:6.4pt}.second .pair .if td:nth-child(n+3){white-space:nowrap}
.if .sq{width:11px;height:11px;line-height:11px;font-size:8px;border-radius:2px}
.second .id{width:13px;height:13px;line-height:12px;font-size:7.4px}
.pair td:nth-child(3){white-space:nowrap}.pair .k td,.pair .k th{padding-right:0}.link{display:none}
.second{break-before:page;font-size:7.4pt}.second .soft,.second small,.second th{font-size:6.7pt}
.second section{padding:2.4px 0 2.6px;margin-top:1.6px}.second td{padding:1.4px 6.9px 1.4px 0}
.basis ul,.basis p{font-size:6.4pt}.basis ul{padding:0}
.basis li{display:inline}.basis li::before{content:"\\2002• "}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}}
@page{size:A4;margin:8.5mm 13mm 9.5mm;
@bottom-right{content:counter(page) " / " counter(pages);font:8pt sans-serif}
}
"""


def text(value: object) -> str:
    """Return a value as escaped text."""
    return escape(str(value))


def page(title: str, parts: Iterable[str]) -> str:
    """Return a whole page; parts are HTML already, the title is text."""
    return whole_page(title, STYLE, "\n".join(part for part in parts if part))


def section(number: int, title: str, *parts: str, whole: bool = False, kind: str = "") -> str:
    """Return a numbered section; whole keeps it on one printed page; kind is a class of its own."""
    kinds = " ".join(name for name in ("whole" if whole else "", kind) if name)
    kind = f' class="{kinds}"' if kinds else ""
    return f"<section{kind}><h2>{number} {text(title)}</h2>{''.join(parts)}</section>"


def paragraph(html: str, kind: str = "") -> str:
    """Return a paragraph of HTML."""
    return f'<p class="{kind}">{html}</p>' if kind else f"<p>{html}</p>"


def bullets(sentences: Iterable[str]) -> str:
    """Return texts as a list, nothing where there are none."""
    listed = "".join(f"<li>{text(sentence)}</li>" for sentence in sentences)
    return f"<ul>{listed}</ul>" if listed else ""


def table(head: Iterable[str], rows: Iterable[str], kind: str = "") -> str:
    """Return a table of ready cells."""
    opened = f'<table class="{kind}">' if kind else "<table>"
    return (
        f'<div class="wide" tabindex="0">{opened}<thead><tr>{"".join(head)}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def th(title: str = "", *, number: bool = False) -> str:
    """Return a head cell, of a column without a title an empty one that is no heading."""
    if not title:
        return "<td></td>"
    return f'<th class="n">{text(title)}</th>' if number else f"<th>{text(title)}</th>"


def td(html: object = "", *, number: bool = False, kept: bool = False, span: int = 1) -> str:
    """Return a cell of HTML; numbers stand to the right, kept text on one line."""
    kind = ' class="n"' if number else ' class="k1"' if kept else ""
    return f"<td{kind}{f' colspan={chr(34)}{span}{chr(34)}' if span > 1 else ''}>{html}</td>"


def square(tier: int | None) -> str:
    """Return a tier's coloured square, a white one with a question mark where it is unknown."""
    if tier is None:
        return '<b class="sq" style="background:#fff;color:#15181C;border:1.5px dashed #15181C">?</b>'
    look = TIERS[tier - 1]
    ink = INK_LIGHT if tier >= 6 else INK_DARK
    return f'<b class="sq" style="background:{look.painted};color:{ink}">{tier}</b>'


def picture(svg: str) -> str:
    """Return a drawing in a box that scrolls sideways on a phone, so that its words stay readable."""
    return f'<div class="wide" tabindex="0">{svg}</div>'


def letter(name: str) -> str:
    """Return a station's letter in its ring."""
    # a ring around one letter, an oval around more: paper takes padding for width, even of a single letter
    return f'<i class="{"id" if len(name) == 1 else "id more"}">{text(name)}</i>'
