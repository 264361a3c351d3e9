"""The templates of the pages people read, escaped and strict."""

from __future__ import annotations

from pathlib import Path

import jinja2


def templates_beside(module: str) -> jinja2.Environment:
    """Return the templates in the folder of a module, by its __file__: text is escaped, a gap an error."""
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(module).parent),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
