"""Noise environments and buildings as people read them."""

from __future__ import annotations

from covermap.wording.language import say


def environment_words(environment: str) -> str:
    """Return a noise environment in words: 'quiet rural'."""
    return say(f"noise.{environment}")


def building_words(building: str) -> str:
    """Return a kind of building in words: 'thermally efficient'."""
    return say(f"building.{building}")
