"""A comparison in sentences."""

from __future__ import annotations

from covermap.planning.changes import Comparison
from covermap.wording.words import homes_number, join


def comparison_in_words(comparison: Comparison) -> list[str]:
    """Return the sentences of a comparison: what must be read first, each list, notes."""
    sentences = [f"Not only the stations changed: {' '.join(comparison.first)}"] if comparison.first else []
    for name in comparison.lists:
        sentences += _list_in_words(comparison, name)
    return [*sentences, *comparison.notes]


def _list_in_words(comparison: Comparison, name: str) -> list[str]:
    counts = comparison.counts(name)

    def of(change: str) -> str:
        cells = f"{int(counts.cells[change]):,} squares"
        if comparison.homes is None:
            return cells
        homes = homes_number(float(counts.homes[change]))
        return f"{'no' if homes == 'none' else homes} homes ({cells})"

    sentences = [
        f'List "{name}": {of("harder")} need a harder antenna than before, {of("easier")} an easier one; '
        f"{of('same')} the same."
    ]
    if counts.cells["unknown now"] or counts.cells["known now"]:
        sentences.append(f"{of('unknown now')} became unknown, {of('known now')} became known.")
    what = "homes" if comparison.homes is not None else "squares"
    moved = [
        f"{service} {homes_number(lost)} lose, {homes_number(gained)} gain"
        for service, (gained, lost) in comparison.lists[name].services.items()
        if gained or lost
    ]
    if moved:
        sentences.append(f"By service, with the antenna each square needs ({what}): {join(moved)}.")
    return sentences
