"""How often the intervals of antenna-test hold the truth, on logs from a generator unlike its own model.

simulate_logs.py [--logs 300]      prints the table of docs/validation.md

The model behind the intervals is a sum of normal effects. Here masts and sessions are uniform, stations are
Laplace, each reading fades (mean of 20 Rayleigh powers), the signal drifts through the session as a random
walk, and the meter shows whole half decibels.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from log_files import UHF_CHANNELS, abba, write_log

from covermap import antenna_test

DRIFT_DB = 0.15  # of the random walk from one reading to the next
SCENARIOS = {
    # name: (mean, sessions, stations, masts, station sd, session sd, mast sd)
    "1 session, 8 stations, 1 mast, session sd 0.6": (3.0, 1, 8, 1, 1.2, 0.6, 0.0),
    "2 sessions, 6 stations": (3.0, 2, 6, 1, 1.2, 0.6, 0.0),
    "3 sessions, 6 stations": (3.0, 3, 6, 1, 1.2, 0.6, 0.0),
    "1 session, 8 stations of 2 masts with 1 dB": (3.0, 1, 8, 2, 1.0, 0.6, 1.0),
    "2 sessions, 10 stations of 2 masts with 1 dB": (3.0, 2, 10, 2, 1.0, 0.6, 1.0),
    "1 session, 12 stations of 4 masts with 1 dB": (3.0, 1, 12, 4, 1.0, 0.6, 1.0),
    "no difference: 1 session, 8 stations": (0.0, 1, 8, 1, 1.2, 0.6, 0.0),
    "no difference: 2 masts with 1 dB": (0.0, 1, 8, 2, 1.0, 0.6, 1.0),
}


def uniform(rng, sd, size=None):
    return rng.uniform(-sd * math.sqrt(3.0), sd * math.sqrt(3.0), size)


def simulated(rng, mean_db, sessions, stations, masts, station_sd, session_sd, mast_sd):
    """Rows of a log A-B-B-A on every station in every session."""
    of_mast = uniform(rng, mast_sd, masts)
    of_station = rng.laplace(0.0, station_sd / math.sqrt(2.0), stations)
    level = rng.uniform(-72.0, -48.0, stations)
    rows = []
    for session in range(sessions):
        shift, drift = uniform(rng, session_sd), 0.0
        for station in range(stations):
            mast = station % masts
            truth = mean_db + of_mast[mast] + of_station[station] + shift
            shown = []
            for which in (0, 1, 1, 0):
                drift += rng.normal(0.0, DRIFT_DB)
                fading_db = 10.0 * math.log10(rng.exponential(1.0, 20).mean())
                shown.append(0.5 * round(2.0 * (level[station] + drift + which * truth + fading_db)))
            bearing = str(30 + 60 * mast)
            rows += abba(
                f"S{station}", shown, 12 * station, f"2026-09-{1 + session:02d}",
                session_id=f"day{session + 1}", rf_channel=UHF_CHANNELS[station], bearing_deg=bearing,
                aim_deg_true=bearing,
            )  # fmt: skip
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=300)
    logs = parser.parse_args().logs
    print(
        "| log | interval holds the truth, of 100 | half width dB, median | called better or worse, of 100 |"
    )
    print("|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        for name, scenario in SCENARIOS.items():
            hits, reach, called = 0, [], 0
            for run in range(logs):
                rows = simulated(np.random.default_rng([7, run]), *scenario)
                mean = antenna_test(write_log(Path(folder) / "log.csv", rows)).bands[0].mean
                hits += mean.low_db <= scenario[0] <= mean.high_db
                called += mean.low_db > 0.0 or mean.high_db < 0.0
                reach.append(mean.reach_db)
            held, named = 100.0 * hits / logs, 100.0 * called / logs
            print(f"| {name} | {held:.0f} | {np.median(reach):.1f} | {named:.0f} |", flush=True)


if __name__ == "__main__":
    main()
