"""Planning masks of receiving antennas against the figures printed for them."""

import numpy as np
import pytest
from planning_masks import bt419_loss_db, oet69_loss_db

from covermap.errors import InputError
from covermap.reception.pattern import lobe_rolloff, off_axis_loss_db


@pytest.mark.parametrize(
    ("angle_deg", "loss_db"),
    [(0.0, 0.0), (10.0, 0.5), (20.0, 2.2), (30.0, 5.0), (40.0, 9.3), (37.5, 8.0)],  # by hand: -80 log cos
)
def test_oet69_is_the_fourth_power_of_the_cosine(angle_deg, loss_db):
    assert oet69_loss_db(angle_deg, "uhf") == pytest.approx(loss_db, abs=0.05)


# OET Bulletin 69: front-to-back ratios of its receiving antennas
@pytest.mark.parametrize(("band", "floor_db"), [("low_vhf", 10.0), ("high_vhf", 12.0), ("uhf", 14.0)])
def test_oet69_ends_at_the_front_to_back_ratio(band, floor_db):
    for angle_deg in (60.0, 90.0, 180.0):
        assert oet69_loss_db(angle_deg, band) == floor_db


@pytest.mark.parametrize(
    ("band", "angle_deg", "loss_db"),
    [  # ITU-R BT.419-3, figure 1 (from memory)
        ("high_vhf", 27.0, 0.0), ("high_vhf", 43.5, 6.0), ("high_vhf", 60.0, 12.0), ("high_vhf", 180.0, 12.0),
        ("uhf", 20.0, 0.0), ("uhf", 40.0, 8.0), ("uhf", 60.0, 16.0), ("uhf", 150.0, 16.0),
    ],
)  # fmt: skip
def test_bt419_corners(band, angle_deg, loss_db):
    assert bt419_loss_db(angle_deg, band) == pytest.approx(loss_db, abs=1e-9)


@pytest.mark.parametrize("mask", [oet69_loss_db, bt419_loss_db])
def test_masks_never_fall_as_the_angle_grows(mask):
    losses_db = [mask(angle_deg, "uhf") for angle_deg in np.linspace(0.0, 180.0, 361)]
    assert np.all(np.diff(losses_db) >= 0.0)


def test_a_band_without_a_mask_is_refused():
    with pytest.raises(InputError, match="low_vhf"):
        bt419_loss_db(10.0, "low_vhf")


def test_two_directions_aimed_between():
    # 75 degrees apart: a lobe of 60 degrees loses 4.7 dB of each, OET-69 8.0 (by hand)
    assert off_axis_loss_db(37.5, lobe_rolloff(60.0), 12.0, 0.0) == pytest.approx(4.7, abs=0.05)
    assert oet69_loss_db(37.5, "high_vhf") == pytest.approx(8.0, abs=0.05)
