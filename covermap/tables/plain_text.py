"""Letters that no name may hold: XML, and with it every project and style of a GIS, cannot write them."""

from __future__ import annotations

import re

# all that XML 1.0 (fifth edition), section 2.2, leaves out of Char
NOT_PLAIN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
PLAIN_RIGHT = "It must be plain text without control characters, here written with \\u. Remove them."


def is_plain(text: str) -> bool:
    """Return whether every letter of a text can be written."""
    return NOT_PLAIN.search(text) is None


def with_blanks(text: str) -> str:
    """Return a text with a blank in place of each letter that cannot be written."""
    return NOT_PLAIN.sub(" ", text)


def with_escapes(text: str) -> str:
    """Return a text with each letter that cannot be written as its number, for a message."""
    return NOT_PLAIN.sub(lambda found: f"\\u{ord(found[0]):04x}", text)
