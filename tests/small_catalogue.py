"""A small invented catalogue whose figures a test can rely on; devices are the generic ones."""

import math
from dataclasses import replace

from covermap.catalogue import Antenna, AntennaGain, Span, read_catalogue

ROOFS = ("gable", "rooftop", "mast")


def antenna(antenna_id, kind, mounts, price, **gains):
    """Return an antenna; gains : band -> (low, typical, high) dBd, beamwidth, front to back."""
    rows = tuple(
        AntennaGain(band, math.nan, Span(*span), beamwidth_deg, front_to_back_db, "judgement")
        for band, (span, beamwidth_deg, front_to_back_db) in gains.items()
    )
    return Antenna(antenna_id, antenna_id, kind, mounts, rows, math.nan, price, None, 0.0, 16.0, "judgement")


ANTENNAS = (
    antenna("panel", "indoor", ("shelf", "window"), 20.0, uhf=((-4.0, 0.0, 3.0), math.nan, 0.0)),
    antenna("uhf_10", "uhf", ("loft", *ROOFS), 40.0, uhf=((6.0, 8.0, 10.0), 45.0, 16.0)),
    antenna("uhf_20", "uhf", ROOFS, 70.0, uhf=((8.0, 11.0, 13.0), 35.0, 20.0)),
    antenna("vhf_6", "high_vhf", ROOFS, 60.0, high_vhf=((8.5, 9.5, 10.2), 48.0, 15.0)),
    antenna(
        "both", "combination", ROOFS, 90.0,
        low_vhf=((2.0, 4.0, 6.0), 70.0, 10.0),
        high_vhf=((5.0, 7.0, 9.0), 55.0, 14.0),
        uhf=((6.0, 9.0, 11.0), 45.0, 16.0),
    ),
)  # fmt: skip
CATALOGUE = replace(read_catalogue(), antennas={one.antenna_id: one for one in ANTENNAS})
