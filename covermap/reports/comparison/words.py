"""A comparison in sentences."""

from __future__ import annotations

from covermap.planning.changes import Comparison
from covermap.wording.language import say
from covermap.wording.retold import retold
from covermap.wording.words import decimal, homes_number, join


def comparison_in_words(comparison: Comparison) -> list[str]:
    """Return the sentences of a comparison: what must be read first, each list, notes."""
    sentences = [first_in_words(comparison)] if comparison.first else []
    for name in comparison.lists:
        sentences += list_in_words(comparison, name)
    return [*sentences, *retold(comparison.notes)]


def first_in_words(comparison: Comparison) -> str:
    """Return what is not comparable."""
    return say("changes.first", what=" ".join(retold(comparison.first)))


def list_in_words(comparison: Comparison, name: str) -> list[str]:
    """Return the sentences of one list; what did not happen is left out."""
    counts = comparison.counts(name)

    def of(change: str) -> str:
        squares = squares_words(int(counts.cells[change]))
        if not comparison.has_homes:
            return squares
        count = float(counts.homes[change])
        homes = homes_number(count) if count else say("changes.no_homes")
        return say("changes.homes_and_squares", homes=homes, squares=squares)

    sentences = [say("changes.of_list", name=name, harder=of("harder"), easier=of("easier"), same=of("same"))]
    for change in ("unknown now", "known now"):
        count = int(counts.cells[change])
        if count:
            sentences.append(say(f"changes.{change.replace(' ', '_')}", count=decimal(count)))
    moved = [
        say("changes.moved", service=service, lost=homes_number(lost), gained=homes_number(gained))
        for service, (gained, lost) in comparison.lists[name].services.items()
        if gained or lost
    ]
    if moved:
        counted = say("changes.counted_homes" if comparison.has_homes else "changes.counted_squares")
        sentences.append(say("changes.by_service_sentence", counted=counted, moved=join(moved)))
    return sentences


def squares_words(count: int) -> str:
    """Return a number of squares: '1 square', '1,200 squares'."""
    return say("changes.squares", count=decimal(count))
