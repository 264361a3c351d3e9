"""What reception must know of a scenario's stations."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from covermap.reception import StationFacts
from covermap.scenario.records import Station
from covermap.scenario.sites import antenna_positions, site_numbers

# slant and circular alike: an antenna standing either way rejects neither
POLARIZATIONS = {"horizontal": 0, "vertical": 1, "slant": 2, "circular": 2}


def station_facts(stations: Sequence[Station]) -> StationFacts:
    """Return the facts of stations in their order; mast numbers positions, site those that stand together."""
    return StationFacts(
        frequency_mhz=np.array([s.frequency_mhz for s in stations]),
        bandwidth_mhz=np.array([s.bandwidth_mhz for s in stations]),
        required_cn_db=np.array([s.required_cn_db for s in stations]),
        indoor_cn_db=np.array([s.indoor_cn_db for s in stations]),
        mast=antenna_positions(stations),
        polarization=np.array([POLARIZATIONS[s.polarization] for s in stations]),
        network=network_numbers(stations),
        delay_us=np.array([s.sfn_delay_us for s in stations]),
        window_us=np.array([s.sfn_window_us for s in stations]),
        site=site_numbers(stations),
    )


def network_numbers(stations: Sequence[Station]) -> NDArray[np.int64]:
    """Return a number for each single-frequency network, one group on one channel; -1 for none."""
    # rounded to a kHz: the same channel by number and by frequency is one network
    keys = [(s.sfn_group, round(s.frequency_mhz, 3)) if s.sfn_group else None for s in stations]
    numbers = {key: number for number, key in enumerate(dict.fromkeys(keys)) if key is not None}
    return np.array([-1 if key is None else numbers[key] for key in keys], dtype=np.int64)
