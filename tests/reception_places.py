"""Places and scenes that the tests of reception share: stations, wanted lists, one worked address."""

from dataclasses import dataclass, replace

import numpy as np
from sure_figures import SURE_TIERS

from covermap.reception import CellSignals, ReceiverSignals, StationFacts

TIERS = SURE_TIERS


@dataclass(frozen=True)
class Wanted:
    """A wanted list as reception reads it."""

    services: tuple
    transmitters: tuple
    needed: int


def wanted_of(*transmitters, needed=None):
    """Return a list of services; a service is a station's index, or several."""
    groups = tuple(group if isinstance(group, tuple) else (group,) for group in transmitters)
    return Wanted(tuple(f"s{i}" for i in range(len(groups))), groups, needed or len(groups))


def facts_of(frequency_mhz, mast, polarization=None, required_cn_db=15.2, **network):
    """Return facts of stations in channels of 6 MHz."""
    count = len(frequency_mhz)
    return StationFacts(
        frequency_mhz=np.array(frequency_mhz, float),
        bandwidth_mhz=np.full(count, 6.0),
        required_cn_db=np.full(count, required_cn_db),
        mast=np.array(mast, np.int64),
        polarization=np.array(polarization if polarization is not None else [0] * count, np.int64),
        **{name: np.array(values) for name, values in network.items()},
    )


def some_facts(facts, stations):
    """Return the facts of some stations."""
    return StationFacts(*(values[list(stations)] for values in vars(facts).values()))


# One address worked end to end: A (569 MHz) and B (189 MHz) on one mast at 40 degrees, C (515 MHz) on
# another at 115 degrees. Every figure that tests compare with it was worked by hand from Friis' formula,
# ITU-R P.2108-1 and P.1812-8 section 4.7 and the lobe. A tall mast receives 2 dB more at its 15 m.
ADDRESS = ReceiverSignals(
    facts=facts_of([569.0, 189.0, 515.0], [0, 0, 1]),
    field_dbuvm=np.array([58.8, 49.9, 61.6]),
    bearing_deg=np.array([40.0, 40.0, 115.0]),
    clutter_height_m=10.0,
)


def with_more(signals, *, field_dbuvm, bearing_deg, frequency_mhz, mast, service="", **columns):
    """Return a place with one more station, not wanted unless a service is named."""
    facts = signals.facts
    more = {name: values[-1:] for name, values in vars(facts).items()}
    more.update(frequency_mhz=[frequency_mhz], mast=[mast], **{"site": [mast], **columns})
    return replace(
        signals,
        facts=StationFacts(**{n: np.concatenate([v, np.array(more[n])]) for n, v in vars(facts).items()}),
        field_dbuvm=np.append(signals.field_dbuvm, field_dbuvm),
        bearing_deg=np.append(signals.bearing_deg, bearing_deg),
        service=(*signals.labels, service),
    )


def one_cell(signals, tall_db=0.0, **fields):
    """Return a place as a tile of one cell; tall_db is how much more arrives at 15 m."""

    def both(values):
        column = np.asarray(values, np.float32)[:, None]
        return np.stack([column, column + np.float32(tall_db)], axis=1)

    bearing_deg = np.zeros((int(signals.facts.mast.max()) + 1, 1), np.float32)
    bearing_deg[signals.facts.mast, 0] = signals.bearing_deg
    return CellSignals(
        heights_m=np.array([10.0, 15.0]),
        field_dbuvm=both(signals.field_dbuvm),
        bearing_deg=bearing_deg,
        clutter_height_m=np.array([signals.clutter_height_m], np.float32),
        open_land=np.array([signals.open_land]),
        **{name: both(values) for name, values in fields.items()},
    )


# Eight stations on four masts: two pairs on one channel, one beside a channel, one upright.
CROWD = facts_of(
    [569.0, 189.0, 515.0, 569.0, 521.0, 189.0, 599.0, 69.0],
    [0, 0, 1, 2, 2, 3, 3, 1],
    [0, 0, 0, 0, 0, 0, 1, 0],
)


def crowded(cells, seed=3, mean_dbuvm=66.0, spread_db=14.0, facts=CROWD):
    """Return cells among the stations of facts, their fields drawn at random."""
    random = np.random.default_rng(seed)
    masts, stations = int(facts.mast.max()) + 1, facts.mast.size
    level = random.normal(mean_dbuvm, spread_db, (masts, cells))[facts.mast]
    level = level + random.normal(0, 3.0, (stations, cells))
    field_dbuvm = np.stack([level, level + 2.0], axis=1).astype(np.float32)
    night_db = random.uniform(0.0, 12.0, (stations, 1, cells)).astype(np.float32)
    return CellSignals(
        heights_m=np.array([10.0, 15.0]),
        field_dbuvm=field_dbuvm,
        bearing_deg=random.uniform(0, 360, (masts, cells)).astype(np.float32),
        clutter_height_m=random.choice([0.0, 10.0, 20.0], cells).astype(np.float32),
        open_land=random.random(cells) < 0.3,
        unwanted_field_dbuvm=field_dbuvm + night_db,
        median_field_dbuvm=field_dbuvm + np.float32(1.0),
        distance_km=random.uniform(5.0, 90.0, (masts, cells)).astype(np.float32),
    )


def place_of(signals, cell, tier, wanted, facts=CROWD, options=None):
    """Return one cell of a tile as a tier sees it, stations outside the list not wanted."""
    height = 1 if tier == 7 else 0
    label = {station: f"s{n}" for n, group in enumerate(wanted.transmitters) for station in group}
    return ReceiverSignals(
        facts=facts,
        field_dbuvm=signals.field_dbuvm[:, height, cell].astype(float),
        bearing_deg=signals.bearing_deg[facts.mast, cell].astype(float),
        service=tuple(label.get(station, "") for station in range(facts.mast.size)),
        at_least=wanted.needed,
        clutter_height_m=float(signals.clutter_height_m[cell]),
        open_land=bool(signals.open_land[cell]),
        unwanted_dbuvm=signals.unwanted_field_dbuvm[:, height, cell].astype(float),
        median_dbuvm=signals.median_field_dbuvm[:, height, cell].astype(float),
        distance_km=signals.distance_km[facts.mast, cell].astype(float),
        **({} if options is None else {"options": options}),
    )
