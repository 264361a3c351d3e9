"""A comparison in sentences."""

from __future__ import annotations

from covermap.planning.changes import Comparison
from covermap.planning.station_changes import StationChange, StationChanges
from covermap.wording.columns import alias
from covermap.wording.language import say
from covermap.wording.retold import retold
from covermap.wording.words import decimal, homes_number, join

MOST_STATIONS = 12  # in a sentence; all of them stand in changes.json


def comparison_in_words(comparison: Comparison) -> list[str]:
    """Return the sentences of a comparison: what must be read first, each list, stations, notes."""
    sentences = [first_in_words(comparison)] if comparison.first else []
    for name in comparison.lists:
        sentences += list_in_words(comparison, name)
    return [*sentences, *stations_in_words(comparison.stations), *retold(comparison.notes)]


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


def stations_in_words(stations: StationChanges) -> list[str]:
    """Return which stations are not the same and in what; no sentence where all are."""
    if not stations:
        return []
    of_station: dict[str, list[str]] = {}
    for change in stations.changed:
        of_station.setdefault(change.station_id, []).append(_change_in_words(change))
    name = stations.name
    groups = (
        ("removed", [name(station) for station in stations.removed]),
        ("added", [name(station) for station in stations.added]),
        ("changed", [f"{name(station)}: {', '.join(parts)}" for station, parts in of_station.items()]),
    )
    told = [
        say(f"changes.stations_{kind}", stations="; ".join(_first_of(these)))
        for kind, these in groups
        if these
    ]
    return [*told, say("changes.by_stations")]


def _first_of(texts: list[str]) -> list[str]:
    """Return as many texts as a sentence bears, and how many more there are."""
    more = len(texts) - MOST_STATIONS
    return [*texts[:MOST_STATIONS], say("changes.more_stations", count=more)] if more > 0 else texts


def _change_in_words(change: StationChange) -> str:
    before, after = (
        say("changes.blank") if value is None else f"{value:g}" if isinstance(value, float) else value
        for value in (change.before, change.after)
    )
    return say("changes.station_column", column=alias(change.column), before=before, after=after)


def squares_words(count: int) -> str:
    """Return a number of squares: '1 square', '1,200 squares'."""
    return say("changes.squares", count=decimal(count))
