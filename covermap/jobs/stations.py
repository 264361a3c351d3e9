"""`covermap stations`: a list of stations in any form -> transmitters.csv, or what is still open about it."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import pyproj

from covermap.errors import InputError
from covermap.propagation.free_space import free_space_field_dbuvm
from covermap.result.whole_file import whole_file
from covermap.scenario.channels import plan_names, read_channel_plan
from covermap.scenario.coordinates import read_position
from covermap.scenario.patterns import PLANES
from covermap.scenario.records import Station
from covermap.scenario.text_table import Row
from covermap.scenario.transmitters import check_row
from covermap.station_lists import patterns
from covermap.station_lists.mapping_file import joined, mapping_text, read_mapping
from covermap.station_lists.matching import Answers, Match, Question, match, same_answers
from covermap.station_lists.rows import COLUMNS, Converted, convert, with_ids
from covermap.station_lists.tables import RawTable, read_raw_table
from covermap.wording.words import csv_safe, plural

MOST_LISTED = 12  # services that are listed
USEFUL_DBUVM = 48.0  # field a rooftop antenna usually needs at UHF; common practice, no source
RX_HEIGHT_M = 10.0
HORIZON_KM = 4.12  # of the square root of a height in m, over an earth of 4/3 radius (ITU-R P.310)
MAPPING_FILE = "stations_mapping.toml"
PATTERNS_FILE = "patterns.csv"


@dataclass(frozen=True)
class ListOptions:
    """What the user says beside the files: answers, channel plan, system, and where to be near to."""

    answers: Answers = field(default_factory=Answers)
    mapping: Path | None = None
    plan: str | None = None
    system: str = "atsc1_8vsb"
    near: str | None = None


@dataclass
class _Work:
    """What was understood so far."""

    tables: list[RawTable]
    matches: list[Match]
    converted: Converted
    patterns: dict[tuple[str, str], list[dict[str, str]]]
    questions: list[Question]
    stations: list[Station]
    rows: list[dict[str, str]]
    no_patterns: set[str] = field(default_factory=set)


def import_stations(
    files: Sequence[Path], output: Path, options: ListOptions, *, accept: bool = False
) -> str:
    """Return what was understood of lists of stations, and with accept write them.

    output : transmitters.csv to write; patterns.csv and the mapping go beside it

    Raises InputError if a file cannot be read, an answer is wrong, no row is left, or with accept something
    is still open; nothing is written then.
    """
    if options.mapping is not None:
        options = replace(options, answers=joined(read_mapping(options.mapping), options.answers))
    work = _understood([read_raw_table(path) for path in files], options)
    lines = _in_words(work, options)
    if work.questions:
        asked = [f"  {number}. {one.in_words()}" for number, one in enumerate(work.questions, start=1)]
        lines += [f"Still open ({len(asked)}); repeat the command with:", *asked]
        if accept:
            raise InputError("\n".join(lines))
        return "\n".join(lines)
    if not work.rows:
        raise InputError("\n".join([*lines, "No row is left to write."]))
    if not accept:
        lines.append(f"Nothing is written yet. Add --accept to write {output}.")
        return "\n".join(lines)
    return "\n".join([*lines, *_write(work, output, options)])


def _understood(tables: list[RawTable], options: ListOptions) -> _Work:
    work = _Work(tables, [], Converted(), {}, [], [], [])
    for table in tables:
        long = patterns.long_columns(table)
        if long is not None:
            unit = patterns.unit_of([long[2]], options.answers)
            if isinstance(unit, Question):
                work.questions.append(unit)
            else:
                work.patterns |= patterns.from_long(table, long, unit)
            continue
        work.matches.append(match(table, options.answers))
    if not work.matches:
        raise InputError(
            "None of the files is a list of stations. Give one with positions, channels and power."
        )
    work.questions += same_answers(work.matches)
    if not options.plan and any("frequency" not in one.fields for one in work.matches):
        names = " | ".join(plan_names())
        work.questions.append(Question("A channel's frequency depends on the country.", f"--plan {names}"))
    if work.questions:
        return work
    _convert_all(work, options)
    work.questions += list(work.converted.questions.values())
    if not work.questions:
        _keep_usable(work, options)
    return work


def _convert_all(work: _Work, options: ListOptions) -> None:
    lists = [table for table in work.tables if patterns.long_columns(table) is None]
    for table, found in zip(lists, work.matches, strict=True):
        before = len(work.converted.rows)
        convert(table, found, options.answers, work.converted)
        wide = patterns.wide_columns(table)
        if not wide:
            continue
        unit = patterns.unit_of([*wide], options.answers)
        if isinstance(unit, Question):
            work.questions.append(unit)
            continue
        cells = dict(zip((f"{table.file}, {place}" for place in table.places), table.rows, strict=True))
        for row, place in zip(work.converted.rows[before:], work.converted.places[before:], strict=True):
            name = re.sub(r"\W+", "_", f"{row['station_id'] or row['service']}_{row['rf_channel']}").strip(
                "_"
            )
            of_row = patterns.from_wide(cells[place], wide, name, unit)
            if of_row:
                work.patterns[name, patterns.AZIMUTH], row["azimuth_pattern"] = of_row, name


def _keep_usable(work: _Work, options: ListOptions) -> None:
    """Keep the rows that `check` will pass; the others are left out with the reason."""
    plan = read_channel_plan(options.plan) if options.plan else None
    seen: set[tuple[str, ...]] = set()
    for row, place in zip(work.converted.rows, work.converted.places, strict=True):
        channel = row["rf_channel"] or row.get("frequency_mhz", "")
        key = row["service"].lower(), channel, row["latitude_deg"], row["longitude_deg"]
        if key in seen:
            work.converted.leave_out("repeated", place)
            continue
        _leave_out_unknown_patterns(row, work)
        probe = {"station_id": "x", **{name: row[name] for name in row if name != "station_id"}}
        file, _, line = place.rpartition(", ")
        try:
            station = check_row(Row(file, line, probe), plan, options.system)
        except InputError as error:
            work.converted.leave_out(_reason(str(error)), place)
            continue
        if station is not None:
            seen.add(key)
            work.rows.append(row)
            work.stations.append(station)
    with_ids(work.rows)


def _leave_out_unknown_patterns(row: dict[str, str], work: _Work) -> None:
    """Empty the cells that name a pattern that no list holds, and note the name."""
    for plane in PLANES:
        name = row[f"{plane}_pattern"]
        if name and (name, plane) not in work.patterns:
            work.no_patterns.add(name)
            row[f"{plane}_pattern"] = ""


def _reason(error: str) -> str:
    """Return why a row is left out; rows with the same fault say the same and are counted together."""
    found = re.search(r"column (\w+): found \"(.*?)\"", error)
    if not found:
        return error.splitlines()[0]
    rule = error.split("\n  ", 1)[-1].split(". Correct")[0]
    return f"{found[1]}: {rule[0].lower()}{rule[1:]}" if "\n  " in error else f"{found[1]} cannot be used"


def _in_words(work: _Work, options: ListOptions) -> list[str]:
    lines = []
    lists = [table for table in work.tables if patterns.long_columns(table) is None]
    for table, found in zip(lists, work.matches, strict=True):
        lines.append(f"{table.file}: {plural(len(table.rows), 'row')}. Understood:")
        lines += [f"  {line}" for line in found.in_words()]
        if found.unused:
            lines.append(f"  not used: {', '.join(found.unused)}")
        lines += [f"  {warning}" for warning in table.warnings]
    if work.patterns:
        lines.append(f"Patterns: {len(work.patterns)}, as relative field")
    if work.no_patterns:
        named = sorted(work.no_patterns)
        shown = ", ".join(named[:MOST_LISTED]) + (" and so on" if len(named) > MOST_LISTED else "")
        lines.append(f"Patterns that no list holds, left out: {shown}. Give their table too.")
    if work.questions or not work.matches:
        return lines
    total = len(work.rows) + sum(map(len, work.converted.left_out.values()))
    lines.append(f"Rows: {len(work.rows):,} of {total:,} kept")
    for reason, places in sorted(work.converted.left_out.items(), key=lambda one: -len(one[1])):
        first = ", ".join(places[:2]) + (" and so on" if len(places) > 2 else "")
        lines.append(f"  {len(places):,} left out: {reason} ({first})")
    if work.stations:
        lines += _by_likely_reach(work.stations, options.near)
    return lines


def likely_reach_km(station: Station) -> float:
    """Return how far a station may be received, roughly: the radio horizon, or where free space is too weak.

    Source: horizon 4.12 (sqrt h1 + sqrt h2), an earth of 4/3 radius (ITU-R P.310); free space ITU-R P.525.
    """
    horizon_km = HORIZON_KM * (math.sqrt(station.antenna_height_m) + math.sqrt(RX_HEIGHT_M))
    at_one_km_dbuvm = free_space_field_dbuvm(10.0 * math.log10(station.erp_kw), 1.0)
    return float(min(horizon_km, 10.0 ** ((at_one_km_dbuvm - USEFUL_DBUVM) / 20.0)))


def _by_likely_reach(stations: Sequence[Station], near: str | None) -> list[str]:
    """Return the services to choose from, those likeliest to be received first."""
    spare: dict[str, float] = {}
    words: dict[str, str] = {}
    place = None if near is None else read_position(near, "--near")
    for station in stations:
        reach_km = likely_reach_km(station)
        text = f"about {reach_km:.0f} km"
        left = reach_km
        if place is not None:
            away_km = pyproj.Geod(ellps="WGS84").inv(
                place[1], place[0], station.longitude_deg, station.latitude_deg
            )[2] / 1000.0  # fmt: skip
            left, text = reach_km - away_km, f"{text}, {away_km:.0f} km away"
        if left > spare.get(station.service, -math.inf):
            spare[station.service] = left
            words[station.service] = text
    best = sorted(spare, key=lambda service: -spare[service])
    lines = ["Services by likely reach (rough: horizon and power, no terrain):"]
    lines += [f"  {service}: {words[service]}" for service in best[:MOST_LISTED]]
    if len(best) > MOST_LISTED:
        lines.append(f"  and {len(best) - MOST_LISTED:,} more")
    return lines


def _write(work: _Work, output: Path, options: ListOptions) -> list[str]:
    try:
        output.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"{output.parent} cannot be made: {error.strerror}. Name another --output."
        ) from error
    used = [name for name in COLUMNS if any(row.get(name) for row in work.rows)]
    _write_table(work.rows, used, output)
    written = [str(output)]
    named = {(row[f"{plane}_pattern"], plane) for row in work.rows for plane in PLANES}
    rows = [row for key, of_pattern in work.patterns.items() if key in named for row in of_pattern]
    if rows:
        _write_table(rows, list(patterns.PATTERN_COLUMNS), output.parent / PATTERNS_FILE)
        written.append(str(output.parent / PATTERNS_FILE))
    settled = joined(_as_answers(work.matches), options.answers)
    mapping = options.mapping or output.parent / MAPPING_FILE
    with whole_file(mapping) as temporary:
        Path(temporary).write_text(mapping_text(settled), "utf-8")
    written.append(str(mapping))
    plan = f" --plan {options.plan}" if options.plan else ""
    return [
        f"Wrote {', '.join(written)}.",
        f"Next: covermap new FOLDER --stations {output}{plan}",
    ]


def _as_answers(matches: Sequence[Match]) -> Answers:
    """Return what was matched in the first list, so that next time nothing is guessed."""
    return Answers(
        {name: found.heading for name, found in matches[0].fields.items()},
        {name: found.unit for name, found in matches[0].fields.items() if found.unit},
    )


def _write_table(rows: Sequence[dict[str, str]], columns: list[str], path: Path) -> None:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        cells = (row.get(name, "") for name in columns)
        writer.writerow([cell if re.fullmatch(r"-?[\d.]+", cell) else csv_safe(cell) for cell in cells])
    with whole_file(path) as temporary:
        Path(temporary).write_text(text.getvalue(), "utf-8")
