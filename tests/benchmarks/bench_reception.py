"""Times reception on random cells: python tests/benchmarks/bench_reception.py [cells]

20 stations at 5 masts of which 8 are wanted, all 7 tiers. Prints the first call (which compiles) and the
warm median of five, per cell.
"""

import sys
import time
from dataclasses import dataclass

import numpy as np

from covermap.reception import CellSignals, ReceptionOptions, StationFacts, receive
from covermap.tables import read_tiers

STATIONS, MASTS, WANTED = 20, 5, 8
# Four stations a mast on channels side by side, masts two channels apart; two of the wanted on high VHF.
MAST_CHANNELS = (
    (14, 15, 16, 17), (19, 20, 21, 22), (24, 25, 26, 27), (29, 30, 31, 32), (34, 35, 36, 12),
)  # fmt: skip
VHF_CHANNELS = (10, 8)


def centre_mhz(channel):
    """Return the centre of a 6 MHz channel in the plan of 47 CFR 73.603: 7 to 13 and 14 to 36."""
    return 177.0 + 6.0 * (channel - 7) if channel < 14 else 473.0 + 6.0 * (channel - 14)


@dataclass(frozen=True)
class Wanted:
    services: tuple
    transmitters: tuple
    needed: int


def random_scene(cells, seed=1, spread_db=18.0, mean_dbuvm=62.0, vhf=2):
    random = np.random.default_rng(seed)
    mast = np.arange(STATIONS) % MASTS
    channels = [MAST_CHANNELS[mast[station]][station // MASTS] for station in range(STATIONS)]
    channels[:vhf] = VHF_CHANNELS[:vhf]
    frequency_mhz = np.array([centre_mhz(channel) for channel in channels])
    facts = StationFacts(
        frequency_mhz=frequency_mhz,
        bandwidth_mhz=np.full(STATIONS, 6.0),
        required_cn_db=np.full(STATIONS, 15.2),
        mast=mast,
        polarization=np.zeros(STATIONS, int),
    )
    # fields vary smoothly from cell to cell as on ground: a walk, and masts that differ
    walk = np.cumsum(random.normal(0, 1.0, (MASTS, cells)), axis=1)
    walk = spread_db * np.sin(walk / 30.0 + random.uniform(0, 6, (MASTS, 1)))
    level = mean_dbuvm + walk[mast] + random.normal(0, 3.0, (STATIONS, cells))
    field = np.stack([level, level + 2.0], axis=1).astype(np.float32)
    bearing = (
        random.uniform(0, 360, (MASTS, 1)) + np.cumsum(random.normal(0, 0.5, (MASTS, cells)), axis=1)
    ) % 360
    signals = CellSignals(
        heights_m=np.array([10.0, 15.0]),
        field_dbuvm=field,
        bearing_deg=bearing.astype(np.float32),
        clutter_height_m=random.choice([0.0, 10.0, 15.0, 20.0], cells).astype(np.float32),
        open_land=random.random(cells) < 0.2,
    )
    return signals, facts


def wanted_list(count=WANTED, needed=None):
    return Wanted(tuple(f"s{i}" for i in range(count)), tuple((i,) for i in range(count)), needed or count)


def timed(signals, facts, wanted, options):
    times = []
    tiers = read_tiers()
    for _ in range(6):
        started = time.thread_time()
        result = receive(signals, facts, tiers, wanted, options)
        times.append(time.thread_time() - started)
    return times[0], float(np.median(times[1:])), result


def main():
    cells = int(sys.argv[1]) if len(sys.argv) > 1 else 16384
    for needed in (WANTED, WANTED - 2, 1):
        for mean_dbuvm in (45.0, 62.0, 80.0):
            signals, facts = random_scene(cells, mean_dbuvm=mean_dbuvm)
            first, warm, result = timed(signals, facts, wanted_list(needed=needed), ReceptionOptions())
            shares = np.round(100 * np.bincount(result.tier, minlength=9)[1:9] / cells)
            print(
                f"needed {needed}, mean {mean_dbuvm:.0f} dBuV/m: first call {first:.2f} s, warm "
                f"{1e6 * warm / cells:.2f} us a cell; tiers 1 to 8 in percent {shares.astype(int).tolist()}"
            )


if __name__ == "__main__":
    main()
