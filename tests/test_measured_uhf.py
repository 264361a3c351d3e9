"""One offset a mast on a published set of measured UHF fields: the spread before and after, no accuracy."""

import math

import numpy as np
import pytest
from reference import reference_rows

from covermap.measurements.mixed_model import fit_mixed
from covermap.measurements.offsets import fit_offsets, judge
from covermap.measurements.residuals import PointResidual
from covermap.propagation import Profile, field_from_loss, p1812_loss

STEP_KM = 0.05


def flat_field(station, distance_km, frequency_mhz, rx_height_m, latitude_deg):
    """The median field over flat ground, for the power field as given read as watts ERP."""
    steps = max(2, round(distance_km / STEP_KM))
    profile = Profile(np.linspace(0.0, distance_km, steps + 1), np.zeros(steps + 1))
    loss = p1812_loss(
        profile, frequency_mhz=frequency_mhz, tx_height_m=float(station["tx_height_agl_m"]),
        rx_height_m=rx_height_m, latitude_deg=latitude_deg, polarization="horizontal",
    )  # fmt: skip
    erp_kw = float(station["tx_power_field_as_given"]) / 1000.0
    return field_from_loss(loss.loss_db, erp_kw, frequency_mhz)


@pytest.fixture(scope="module")
def points():
    stations = {row["tx_id"]: row for row in reference_rows("measured/dtt_benin/transmitters.csv")}
    found = []
    for row in reference_rows("measured/dtt_benin/measurements.csv"):
        distance_km = float(row["distance_m_source"]) / 1000.0
        if distance_km < 0.25:  # ITU-R P.1812-8 begins there
            continue
        predicted = flat_field(
            stations[row["tx_id"]], distance_km, float(row["f_MHz"]), float(row["rx_height_agl_m"]),
            float(row["rx_lat"]),
        )  # fmt: skip
        apart = float(row["E_dBuVm"]) - float(predicted)
        found.append(
            PointResidual(
                row["ref"],
                row["tx_id"],
                "uhf",
                apart,
                apart,
                0.0,
                float(row["rx_lat"]),
                float(row["rx_lon"]),
                (0.0, 0.0),
                0,
                "clear",
            )
        )
    return found


def spread(points, offsets=()):
    moved = {o.mast: o.offset_db for o in offsets}
    return float(np.std([p.low_db - moved.get(p.mast, 0.0) for p in points], ddof=1))


def test_one_offset_a_mast_lowers_the_spread_of_the_measured_set(points):
    """docs/validation_measured.md holds the figures; power and calibration of the set are doubtful."""
    model = fit_mixed(points, 9.7)
    offsets = fit_offsets(model)
    judgement = judge(model)
    assert {o.mast for o in offsets} == {"ABCA", "COTO", "KAND"}
    assert spread(points, offsets) < spread(points)
    assert judgement.after_db < judgement.before_db
    assert math.isfinite(model.spread.total_db)
    # masts 20 to 45 dB off are a wrong power or unit, as here: no calibration is made of them
    assert "look at unit, gain, aim and channel" in judgement.refused
