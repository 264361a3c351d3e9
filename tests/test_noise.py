"""Man-made noise against ITU-R P.372."""

import pytest
from reference import check_values, reference_rows

from covermap.errors import InputError
from covermap.propagation import man_made_noise


@pytest.mark.parametrize("row", check_values("p372_noise.csv"), ids=lambda row: row["noise_db"])
def test_noise_matches_p372(row):
    noise_db = man_made_noise(float(row["frequency_mhz"]), row["environment"])
    assert noise_db == pytest.approx(float(row["noise_db"]), abs=0.001)


def test_every_computed_noise_is_met():
    # computed from the figures of ITU-R P.372 apart from us, four decimals
    rows = reference_rows("propagation/p372/computed_values.csv")
    assert len(rows) >= 28
    for row in rows:
        noise_db = man_made_noise(float(row["f_MHz"]), row["environment"])
        assert noise_db == pytest.approx(float(row["Fam_dB"]), abs=0.0001), row


@pytest.mark.parametrize(
    ("frequency_mhz", "city_db", "residential_db", "rural_db"),
    [
        (69, 25.9, 21.6, 16.3),  # P.372 by hand: c - 27.7 x 1.8388
        (195, 13.4, 9.1, 3.8),  # c - 27.7 x 2.2900
    ],
)
def test_noise_in_television_bands_by_hand(frequency_mhz, city_db, residential_db, rural_db):
    found_db = [man_made_noise(frequency_mhz, name) for name in ("city", "residential", "rural")]
    assert found_db == pytest.approx([city_db, residential_db, rural_db], abs=0.05)


def test_uhf_gives_a_value_and_a_warning():
    with pytest.warns(UserWarning, match="600, outside 0.3 to 250"):
        # the line goes on: 72.5 - 27.7 log 600 = -4.45 dB
        assert man_made_noise(600, "residential") == pytest.approx(-4.45, abs=0.01)


@pytest.mark.parametrize(
    ("frequency_mhz", "environment", "shown"),
    [(100, "suburb", "'suburb'"), (0, "city", "got 0"), ("low", "city", "'low'")],
)
def test_bad_input_is_refused_with_its_value(frequency_mhz, environment, shown):
    with pytest.raises(InputError, match=shown):
        man_made_noise(frequency_mhz, environment)
