"""Matches headings to what we need, and asks in one list for everything that they leave open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from covermap.errors import InputError
from covermap.scenario.suggestions import nearest
from covermap.station_lists.fields import (
    FIELDS,
    PARTS,
    UNITS,
    Guess,
    doubtful_kind,
    guess,
    is_above_average_terrain,
    says_its_units,
    unit_in,
    words_of,
)
from covermap.station_lists.tables import RawTable

UNIT_IN_WORDS = {
    "kw": "kW",
    "w": "W",
    "dbk": "dBk",
    "dbw": "dBW",
    "dbm": "dBm",
    "mhz": "MHz",
    "khz": "kHz",
    "hz": "Hz",
}
AVERAGE_TERRAIN = "is a height above average terrain, which may be hundreds of metres more or less."
IGNORED = "-"  # in place of a heading: this field is in no column


@dataclass(frozen=True)
class Answers:
    """What the user said: field -> heading, field -> unit, (field, word) -> ours in small letters."""

    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[tuple[str, str], str] = field(default_factory=dict)


@dataclass(frozen=True)
class Question:
    """Something that is open. sentence : what; option : what settles it, as typed on the command line."""

    sentence: str
    option: str

    def in_words(self) -> str:
        """Return both on two lines."""
        return f"{self.sentence}\n      {self.option}"


@dataclass(frozen=True)
class Match:
    """The columns of one table. fields : field -> heading and unit; unused : headings taken for nothing."""

    fields: dict[str, Guess]
    unused: tuple[str, ...]
    questions: tuple[Question, ...]

    def in_words(self) -> list[str]:
        """Return one line a field that was matched."""
        return [
            f"{FIELDS.get(name, name.replace('_', ' '))}: {found.heading!r}"
            + (f", in {UNIT_IN_WORDS.get(found.unit, found.unit)}" if found.unit else "")
            + (f". But that {AVERAGE_TERRAIN}" if name == "height" and _is_average(found) else "")
            for name, found in self.fields.items()
        ]


def _is_average(found: Guess) -> bool:
    return is_above_average_terrain(found.heading)


def match(table: RawTable, answers: Answers) -> Match:
    """Return which column is what: as answered, else as guessed from heading and cells.

    Raises InputError if an answer names a field or heading that there is none of.
    """
    fields = _answered(table, answers)
    asked: list[Question] = []
    taken = {found.heading for found in fields.values()}
    settled = set(answers.columns)
    for name, found in _guesses(table, taken, settled).items():
        if len(found) == 1:
            fields[name] = found[0]
        else:
            headings = " or ".join(f'"{one.heading}"' for one in found)
            asked.append(
                Question(
                    f"Which column is the {FIELDS.get(name, name)}: {headings}?",
                    _option(name, found[0].heading),
                )
            )
            settled.add(name)
    fields = {
        name: Guess(one.heading, name, answers.units.get(name, one.unit).lower())
        for name, one in fields.items()
    }
    # a list of call signs alone: they are the names then
    if "service" not in fields and "station_id" in fields:
        fields["service"] = Guess(fields["station_id"].heading, "service")
    asked += _missing(table, fields, settled)
    for name, units in UNITS.items():
        if name not in fields or says_its_units(table, fields[name].heading, name):
            continue
        if fields[name].unit not in units.values():
            known = ", ".join(dict.fromkeys(units.values()))
            asked.append(
                Question(f'"{fields[name].heading}" does not say its unit ({known}).', f"--unit {name}=...")
            )
    used = {found.heading for found in fields.values()}
    return Match(fields, tuple(name for name in table.headings if name not in used), tuple(asked))


def _answered(table: RawTable, answers: Answers) -> dict[str, Guess]:
    fields = {}
    for name, heading in answers.columns.items():
        base = name.rsplit("_", 1)[0] if name.rsplit("_", 1)[-1] in PARTS else name
        if base not in FIELDS:
            raise InputError(
                f'--column: found "{name}", which is nothing we read.{nearest(name, list(FIELDS))} '
                f"Write one of {', '.join(FIELDS)}."
            )
        if heading == IGNORED:
            continue
        same = next((one for one in table.headings if one.lower() == heading.lower()), None)
        if same is None:
            raise InputError(
                f'--column {name}: {table.file} has no column "{heading}".'
                f"{nearest(heading, list(table.headings))} It has {', '.join(table.headings)}."
            )
        fields[name] = Guess(same, name, unit_in(same, name))
    return fields


def _guesses(table: RawTable, taken: set[str], settled: set[str]) -> dict[str, list[Guess]]:
    found: dict[str, list[Guess]] = {}
    for heading in table.headings:
        one = None if heading in taken else guess(table, heading)
        if one is not None and one.field not in settled and table.column(heading):
            found.setdefault(one.field, []).append(one)
    for name in ("latitude", "longitude"):
        if f"{name}_min" in found and name in found:  # degrees, where minutes stand beside them
            found[f"{name}_deg"] = [Guess(one.heading, f"{name}_deg") for one in found.pop(name)]
    for name, several in found.items():
        found[name] = _in_our_unit(several)
    return found


def _in_our_unit(several: list[Guess]) -> list[Guess]:
    """Return one of columns that say the same in different units, each naming its own; else all of them."""
    units = [one.unit for one in several]
    if len(several) > 1 and all(units) and len(set(units)) == len(units):
        order = ["m", "kw", "mhz", "w", "dbk", "dbw", "dbm", "ft", "khz", "hz"]
        return [min(several, key=lambda one: order.index(one.unit))]
    # "Latitude" beside "Latitude of site": the plain heading is meant.
    exact = [one for one in several if len(words_of(one.heading)) == 1]
    return exact if len(exact) == 1 and not any(units) else several


def _missing(table: RawTable, fields: Mapping[str, Guess], settled: set[str]) -> list[Question]:
    """Return a question for each thing a station needs and no column gives."""
    asked = []
    has_place = "position" in fields or all(_coordinate(fields, name) for name in ("latitude", "longitude"))
    needs = (
        ("service", "service" in fields),
        ("latitude", has_place or _coordinate(fields, "latitude")),
        ("longitude", has_place or _coordinate(fields, "longitude")),
        ("channel", bool(fields.keys() & {"channel", "frequency"})),
        ("erp", bool(fields.keys() & {"erp", "eirp"})),
        ("height", "height" in fields or fields.keys() >= {"height_above_sea", "ground"}),
    )
    for name, there in needs:
        if there or (name in settled - fields.keys() and name not in ("service",)):
            continue
        likely = [
            heading
            for heading in table.headings
            if doubtful_kind(heading) == name and guess(table, heading) is None
        ]
        what = FIELDS[name]
        if likely:
            shown = " or ".join(f'"{heading}"' for heading in likely)
            asked.append(
                Question(f"{shown} may be the {what}, but does not say so.", _option(name, likely[0]))
            )
        else:
            rest = "" if asked else f" The columns are {', '.join(table.headings)}."
            averages = [heading for heading in table.headings if is_above_average_terrain(heading)]
            if name == "height" and averages:
                rest = f' "{averages[0]}" {AVERAGE_TERRAIN}{rest}'
            asked.append(Question(f"No column is the {what}.{rest}", _option(name, "...")))
    return asked


def _coordinate(fields: Mapping[str, Guess], name: str) -> bool:
    return name in fields or f"{name}_deg" in fields


def _option(name: str, heading: str) -> str:
    return f'--column {name}="{heading}"'


def same_answers(matches: Sequence[Match]) -> list[Question]:
    """Return the questions of several tables, each once."""
    return list(dict.fromkeys(question for one in matches for question in one.questions))
