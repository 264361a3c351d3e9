"""`covermap antenna-test`: the antennas of logs compared, and what is written of it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from covermap.addresses.bench_paths import BenchPath
    from covermap.measurements.antenna_matrix import Matrix
    from covermap.measurements.antenna_test import AntennaTest
    from covermap.measurements.comparison_log import ComparisonLog
    from covermap.measurements.far_readings import FarReading
    from covermap.scenario import Scenario

HEIGHT_M = 10.0  # of a pole whose log does not say


def compare_antennas(
    logs: Path | Sequence[Path],
    output: Path | None = None,
    *,
    channel_plan: str | None = None,
    remounted: bool = False,
    reference: str | None = None,
    catalogue: Path | None = None,
    scenario: Path | None = None,
    tier_table: Path | None = None,
    known_gain: Mapping[str, tuple[float, float]] | None = None,
    candidate: str | None = None,
    like_tier: int = 5,
) -> str:
    """Compare the antennas of logs, write their page and tables, and return the answer in words.

    output : default, a folder antenna_test beside the first log
    channel_plan : default, the scenario's, else us_6mhz
    remounted : whether the answer must hold for antennas mounted anew
    reference : the antenna that the others are compared with; default, the one that the log marks
    catalogue : antennas.csv into which the measured gains go; default, the scenario's where a reference is
        named. Without either nothing is written into a catalogue
    scenario : whose stations give the paths to the place
    tier_table : where to write a tier table in which like_tier has the candidate's measured gains, from
        known_gain: band -> the reference's gain and its standard uncertainty. [dBd, dB]

    Raises InputError when a log or a choice is wrong; nothing is written then.
    """
    from covermap.measurements.antenna_matrix import every_pair, matrices
    from covermap.measurements.antenna_test import antenna_test
    from covermap.measurements.bench_catalogue import CatalogueUpdate, catalogue_update
    from covermap.measurements.comparison_log import read_comparison_logs
    from covermap.reports.fieldwork.antenna_page import (
        BesideTheTest,
        in_words,
        write_antenna_test,
        write_tier_table,
    )
    from covermap.result.whole_file import write_text
    from covermap.scenario import read_scenario
    from covermap.wording.language import ENGLISH, speaking

    paths = [logs] if isinstance(logs, Path) else list(logs)
    known = None if scenario is None else read_scenario(scenario)
    of_scenario = None if known is None else known.settings.transmitters.channel_plan
    plan = channel_plan or of_scenario or "us_6mhz"
    with speaking(ENGLISH if known is None else known.settings.display.language):
        log = read_comparison_logs(paths, plan)
        test = antenna_test(log, plan, remounted=remounted, reference=reference)
        if catalogue is None and known is not None and reference is not None:
            catalogue = known.settings.reception.antennas
        update = CatalogueUpdate({}, ()) if catalogue is None else catalogue_update(test, catalogue)
        to_bench = {} if known is None else _paths(known, log)
        pairs, sides = every_pair(test, remounted=remounted), matrices(test)
        owned = catalogue if known is None else catalogue or known.settings.reception.antennas
        far = _far_off(test, sides, to_bench, owned)
        display = None if known is None else known.settings.display
        beside = BesideTheTest(pairs, sides, to_bench, update.sentences, far, display)
        if tier_table is not None:
            write_tier_table(test, tier_table, known_gain or {}, candidate, like_tier)
        files = write_antenna_test(test, output or paths[0].parent / "antenna_test", beside)
        for path, text in update.texts.items():
            write_text(path, text)
        return in_words(test, files[0], beside)


def _far_off(
    test: AntennaTest,
    sides: Sequence[Matrix],
    to_bench: Mapping[str, Mapping[str, BenchPath]],
    catalogue: Path | None,
) -> list[FarReading]:
    """Return what the reference read far off the prediction; nothing where a catalogue does not know it."""
    from covermap.catalogue import read_catalogue
    from covermap.measurements.far_readings import Predicted, far_readings
    from covermap.propagation import power_from_field

    antenna = read_catalogue(catalogue).antennas.get(test.reference) if to_bench else None
    if antenna is None:
        return []
    found: list[FarReading] = []
    for matrix in sides:
        paths, predicted = to_bench.get(matrix.site, {}), {}
        for row in matrix.rows:
            path, gain = paths.get(row.station), antenna.gain_at(row.frequency_mhz)
            if path is not None and gain is not None and not math.isnan(path.field_dbuvm):
                level_dbm = power_from_field(path.field_dbuvm, gain.gain_dbd.typical, row.frequency_mhz)
                spread_db = math.hypot(path.spread_db, gain.gain_dbd.sd)
                predicted[row.station] = Predicted(level_dbm, spread_db)
        found += far_readings(matrix, test.reference, predicted)
    return found


def _paths(scenario: Scenario, log: ComparisonLog) -> dict[str, dict[str, BenchPath]]:
    """Return the paths from the log's stations to each site of which it gives one position."""
    from covermap.addresses.bench_paths import bench_paths
    from covermap.jobs.address_sheets import bench_site

    found = {}
    for name in dict.fromkeys(reading.site for reading in log.readings):
        readings = [reading for reading in log.readings if reading.site == name]
        places = {
            (reading.latitude_deg, reading.longitude_deg)
            for reading in readings
            if reading.latitude_deg is not None and reading.longitude_deg is not None
        }
        if len(places) == 1:
            place = places.pop()
            heights_m = [reading.height_m for reading in readings if reading.height_m is not None]
            frequencies_mhz = {reading.station: reading.frequency_mhz for reading in readings}
            height_m = max(heights_m, default=HEIGHT_M)
            found[name] = bench_paths(bench_site(scenario, *place), *place, height_m, frequencies_mhz)
    return found
