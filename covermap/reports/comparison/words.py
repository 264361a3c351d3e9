"""A comparison in sentences."""

from __future__ import annotations

from covermap.planning.changes import Comparison
from covermap.wording.words import homes_number, join, plural


def comparison_in_words(comparison: Comparison) -> list[str]:
    """Return the sentences of a comparison: what must be read first, each list, notes."""
    sentences = [first_in_words(comparison)] if comparison.first else []
    for name in comparison.lists:
        sentences += list_in_words(comparison, name)
    return [*sentences, *comparison.notes]


def first_in_words(comparison: Comparison) -> str:
    """Return what is not comparable."""
    return f"Not only the stations changed: {' '.join(comparison.first)}"


def list_in_words(comparison: Comparison, name: str) -> list[str]:
    """Return the sentences of one list; what did not happen is left out."""
    counts = comparison.counts(name)

    def of(change: str) -> str:
        cells = plural(int(counts.cells[change]), "square")
        if comparison.homes is None:
            return cells
        homes = homes_number(float(counts.homes[change]))
        return f"{'no' if homes == 'none' else homes} homes ({cells})"

    sentences = [
        f'List "{name}": {of("harder")} need a harder antenna than before, {of("easier")} an easier one; '
        f"{of('same')} the same."
    ]
    for change, words in (("unknown now", "no longer known"), ("known now", "newly known")):
        count = int(counts.cells[change])
        if count:
            sentences.append(f"{plural(count, 'square')} {'is' if count == 1 else 'are'} {words}.")
    what = "homes" if comparison.homes is not None else "squares"
    moved = [
        f"{service} {homes_number(lost)} lose, {homes_number(gained)} gain"
        for service, (gained, lost) in comparison.lists[name].services.items()
        if gained or lost
    ]
    if moved:
        sentences.append(f"By service, with the antenna each square needs ({what}): {join(moved)}.")
    return sentences
