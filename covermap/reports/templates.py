"""The templates of the pages people read, escaped and strict; shell.html is around all but the map."""

from __future__ import annotations

from pathlib import Path

import jinja2
from markupsafe import Markup

from covermap.wording.language import say, spoken

SHARED = Path(__file__).parent


def templates_beside(module: str) -> jinja2.Environment:
    """Return the templates in the folder of a module, by its __file__: text is escaped, a gap an error.

    In them say() gives the messages of the language that is spoken.
    """
    found = jinja2.Environment(
        loader=jinja2.FileSystemLoader([Path(module).parent, SHARED]),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.globals |= {"say": say, "spoken": spoken}
    return found


def whole_page(title: str, style: str, content: str, footer: str = "") -> str:
    """Return a page of HTML that is put together in Python; the title is text."""
    shell = templates_beside(__file__).get_template("shell.html")
    parts = {"style": style, "content": content, "footer": footer}
    return shell.render(title=title, **{name: Markup(html) for name, html in parts.items()}) + "\n"
