"""English sentences of results and of what computes them, said again in the language that is spoken.

run.json holds its cautions in English, and planning knows no languages: a sentence is known by its message.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

from covermap.wording.language import ENGLISH, messages, say, spoken

SECTIONS = ("told.", "caution.", "not_counted.", "trees.")
ONLY_A_NAME = "caution.trees"  # all of it is filled in


def retold(sentences: Iterable[str]) -> list[str]:
    """Return English sentences in the language; one that no message knows stays as it is."""
    return [_retold(sentence) for sentence in sentences]


def _retold(sentence: str) -> str:
    if spoken() == ENGLISH:
        return sentence
    for key, form in _forms().items():
        found = form.fullmatch(sentence)
        if found is not None:
            return say(key, **{name: _retold(value) for name, value in found.groupdict().items()})
    return sentence


@lru_cache
def _forms() -> dict[str, re.Pattern[str]]:
    english = {key: text for key, text in messages(ENGLISH).items() if key.startswith(SECTIONS)}
    english["number.no_date"] = messages(ENGLISH)["number.no_date"]
    return {key: _form(text) for key, text in english.items() if key != ONLY_A_NAME}


def _form(text: str) -> re.Pattern[str]:
    """Return what recognises a message with its names filled in."""
    parts = re.split(r"\{(\w+)\}", text)
    return re.compile(
        "".join(f"(?P<{part}>.+)" if n % 2 else re.escape(part) for n, part in enumerate(parts))
    )
