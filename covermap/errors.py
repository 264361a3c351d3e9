"""What covermap raises: one root, one class for wrong input; and several faults told together."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import TypeVar

Result = TypeVar("Result")
Other = TypeVar("Other")

MOST_OF_A_KIND = 3  # sentences of one kind in full; of more than that only the first stands
MOST_FAULTS = 20  # kinds of fault told at once
_PLACE = re.compile(r"\b(?:line|feature) \d+")
_VARYING = re.compile(r'"[^"]*"|\'[^\']*\'|\([^()]*\)|-?\d[\d.,:]*')


class CovermapError(Exception):
    """Anything covermap reports to its user on purpose."""


class InputError(CovermapError, ValueError):
    """The input is wrong: the message says where, what was found, what would be right, what to do."""


class Faults:
    """Wrong inputs gathered while reading goes on, so that those of one file are told together."""

    def __init__(self) -> None:
        self.sentences: list[str] = []

    def of(self, otherwise: Other, read: Callable[..., Result], *args: object) -> Result | Other:
        """Return what read(*args) returns; `otherwise` where it raises InputError, which is gathered."""
        try:
            return read(*args)
        except InputError as error:
            self.sentences.append(str(error))
            return otherwise

    def in_words(self) -> str:
        """Return the sentences gathered, a line each, those of one kind once."""
        told = grouped(self.sentences)
        if len(told) > MOST_FAULTS:
            told = [*told[:MOST_FAULTS], f"({len(told) - MOST_FAULTS} more like these.)"]
        return "\n".join(told)

    def tell(self) -> None:
        """Raise one InputError that says all that was gathered; nothing where nothing was."""
        if self.sentences:
            raise InputError(self.in_words())


def grouped(sentences: Sequence[str], most: int = MOST_OF_A_KIND) -> list[str]:
    """Return sentences in their order, of each kind at most `most`; of more only the first, with how many.

    Sentences are of one kind when they differ only in numbers, in what stands in quotes and in brackets.
    """
    kinds: dict[str, list[str]] = {}
    for sentence in dict.fromkeys(sentences):
        kinds.setdefault(_VARYING.sub("#", sentence), []).append(sentence)
    told: list[str] = []
    for alike in kinds.values():
        told += alike if len(alike) <= most else [_first_of(alike)]
    return told


def _first_of(alike: Sequence[str]) -> str:
    """Return the first of many sentences of one kind, with how many more there are and where the next are."""
    places = [found[0] for sentence in alike[1:4] if (found := _PLACE.search(sentence))]
    where = f": {', '.join(places)} and so on" if places else ""
    return f"{alike[0]}\n  ({len(alike) - 1:,} more of this kind{where}.)"
