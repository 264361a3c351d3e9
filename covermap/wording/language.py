"""The language people read: its messages by key, chosen once for all that a job writes."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "messages"
ENGLISH = "en"

# Sentences are put together in some sixty functions, far below the job that knows the scenario.
_spoken: ContextVar[str] = ContextVar("language", default=ENGLISH)


def languages() -> tuple[str, ...]:
    """Return the languages there are: the files of the folder messages."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Let everything that is worded inside be in a language."""
    before = _spoken.set(language)
    try:
        yield
    finally:
        _spoken.reset(before)


def spoken() -> str:
    """Return the language that is being written: 'en'."""
    return _spoken.get()


def say(key: str, **values: Any) -> str:
    """Return a message with its names filled in.

    key : section and name, 'cause.ridges.words'. A value `count` of 1 takes the message KEY.one, any other
    KEY.other, where the message has these two.

    Raises KeyError for a key that is not there.
    """
    found = messages(_spoken.get())
    if key not in found:
        key = f"{key}.{'one' if values['count'] in (1, '1') else 'other'}" if "count" in values else key
    return found[key].format(**values)


@lru_cache
def messages(language: str) -> dict[str, str]:
    """Return the messages of a language by key. Raises FileNotFoundError for a language without a file."""
    with (FOLDER / f"{language}.toml").open("rb") as file:
        return dict(_flat("", tomllib.load(file)))


def _flat(prefix: str, table: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for name, value in table.items():
        key = f"{prefix}.{name}" if prefix else name
        if isinstance(value, dict):
            yield from _flat(key, value)
        else:
            yield key, str(value)
