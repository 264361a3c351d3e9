"""The templates of the pages people read, escaped and strict; report_page.html is the head they share."""

from __future__ import annotations

from pathlib import Path

import jinja2

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
