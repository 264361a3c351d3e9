"""Clutter at a low antenna (ITU-R P.2108-1) and building entry (ITU-R P.2109)."""

import math

import pytest
from reference import check_values, reference_rows

from covermap.errors import InputError
from covermap.propagation import entry_loss, terminal_clutter_loss
from covermap.propagation.terminal import low_mount_loss_db


@pytest.mark.parametrize("row", check_values("p2108_terminal.csv"), ids=lambda row: row["loss_db"])
def test_clutter_loss_matches_p2108(row):
    loss_db = terminal_clutter_loss(
        float(row["frequency_mhz"]),
        float(row["rx_height_m"]),
        float(row["clutter_height_m"]),
        float(row["street_width_m"]),
        open_land=row["open_land"] == "yes",
    )
    assert loss_db == pytest.approx(float(row["loss_db"]), abs=0.051)  # printed to 0.1 dB


# Return codes of the vectors: 0 success; 32 frequency, 33 antenna height, 34 street width out of range.
@pytest.mark.filterwarnings("ignore:frequency_mhz is 20")
def test_every_clutter_vector_is_met():
    rows = reference_rows("propagation/p2108/height_gain_terminal_correction.csv")
    assert len(rows) >= 15
    for row in rows:
        arguments = [float(row[name]) for name in ("f__ghz", "h__meter", "R__meter", "w_s__meter")]
        arguments[0] *= 1000.0
        open_land = row["clutter_type"] in ("1", "2")  # water, open or rural
        if row["rtn"] == "0":
            loss_db = terminal_clutter_loss(*arguments, open_land=open_land)
            assert loss_db == pytest.approx(float(row["A_h__db"]), abs=0.051), row
        elif row["rtn"] != "32":  # out of range is a value with a warning here
            with pytest.raises(InputError, match="greater than 0"):
                terminal_clutter_loss(*arguments, open_land=open_land)


@pytest.mark.parametrize(
    ("rx_height_m", "open_land", "losses_db"),
    [
        # P.2108-1 section 3.1 by hand for tops at 10 m and streets of 27 m, at 69, 195 and 600 MHz
        (1.5, False, (8.5, 12.3, 17.0)),
        (2.5, False, (7.7, 11.4, 16.0)),
        (6.0, False, (4.4, 7.1, 10.9)),
        (1.5, True, (12.0, 14.3, 16.8)),
        (2.5, True, (8.8, 10.5, 12.3)),
        (6.0, True, (3.2, 3.9, 4.5)),
    ],
)
def test_clutter_loss_of_indoor_heights_by_hand(rx_height_m, open_land, losses_db):
    for frequency_mhz, loss_db in zip((69, 195, 600), losses_db, strict=True):
        found_db = terminal_clutter_loss(frequency_mhz, rx_height_m, 10, open_land=open_land)
        assert found_db == pytest.approx(loss_db, abs=0.05)


@pytest.mark.parametrize("open_land", [False, True])
def test_no_clutter_loss_from_the_tops_upwards(open_land):
    assert terminal_clutter_loss(600, 10, 10, open_land=open_land) == 0.0
    assert terminal_clutter_loss(600, 30, 10, open_land=open_land) == 0.0
    # just below the tops: (2a) begins at J(0) - 6.03 = 0.003 dB (P.2108-1 section 3.1)
    assert terminal_clutter_loss(600, 9.9999, 10, open_land=open_land) == pytest.approx(0.0, abs=0.01)


def test_low_mount_under_tall_tops_loses_from_10_m_only():
    # tops at 20 m, 600 MHz: 23.31 dB down to 1.5 m less 18.36 dB down to 10 m (P.2108-1 section 3.1)
    assert low_mount_loss_db(0.6, 1.5, 20.0, False) == pytest.approx(4.95, abs=0.01)


@pytest.mark.parametrize(
    ("height_m", "tops_m", "loss_db"),
    [(1.5, 0.0, 17.0), (10.0, 20.0, 0.0), (15.0, 20.0, 0.0)],  # the first as by hand above
)
def test_low_mount_counts_tops_of_10_m_where_none_are_known(height_m, tops_m, loss_db):
    assert low_mount_loss_db(0.6, height_m, tops_m, False) == pytest.approx(loss_db, abs=0.05)


@pytest.mark.parametrize("row", check_values("p2109_entry.csv"), ids=lambda row: row["loss_db"])
def test_entry_loss_matches_p2109(row):
    loss_db = entry_loss(
        float(row["frequency_mhz"]),
        row["building"],
        float(row["probability_percent"]),
        float(row["elevation_deg"]),
    )
    assert loss_db == pytest.approx(float(row["loss_db"]), abs=0.00051)  # printed to 0.001 dB


@pytest.mark.parametrize(
    ("table", "column", "tolerance_db"),
    [
        ("check_values.csv", "L_bel_dB", 0.00051),  # ITU-R P.2109-1 workbook, printed to 0.001 dB
        ("computed_tv_values.csv", "L_bel_dB_computed", 0.0001),  # computed apart from us, four decimals
    ],
)
def test_every_entry_loss_is_met(table, column, tolerance_db):
    rows = reference_rows(f"propagation/p2109/{table}")
    assert len(rows) >= 60
    for row in rows:
        loss_db = entry_loss(
            float(row["f_GHz"]) * 1000.0,
            row["building_class"],
            float(row["p_pct"]),
            float(row["elevation_deg"]),
        )
        assert loss_db == pytest.approx(float(row[column]), abs=tolerance_db), row


@pytest.mark.parametrize(
    ("frequency_mhz", "probability_percent", "traditional_db", "efficient_db"),
    [
        (195, 50, 14.0, 35.9),  # from the coefficients of P.2109-1, table 1
        (600, 50, 14.0, 31.9),
        (195, 90, 23.0, 49.7),
        (600, 90, 24.3, 46.8),
    ],
)
def test_entry_loss_of_television_bands(frequency_mhz, probability_percent, traditional_db, efficient_db):
    found_db = [
        entry_loss(frequency_mhz, building, probability_percent)
        for building in ("traditional", "thermally_efficient")
    ]
    assert found_db == pytest.approx([traditional_db, efficient_db], abs=0.051)


def test_entry_loss_grows_with_probability():
    losses_db = [entry_loss(600, probability_percent=share) for share in (1, 10, 50, 90, 99)]
    assert losses_db == sorted(losses_db)


def test_out_of_range_gives_a_value_and_a_warning():
    with pytest.warns(UserWarning, match="69, outside 80"):
        assert math.isfinite(entry_loss(69))
    with pytest.warns(UserWarning, match="5000, outside 30 to 3000"):
        assert math.isfinite(terminal_clutter_loss(5000, 1.5, 10))


@pytest.mark.parametrize(
    ("call", "shown"),
    [
        (lambda: entry_loss(600, "wooden"), "building must be one of .*'wooden'"),
        (lambda: entry_loss(600, probability_percent=0), "probability_percent .* got 0"),
        (lambda: entry_loss(600, elevation_deg=95), "elevation_deg .* got 95"),
        (lambda: entry_loss(-600), "frequency_mhz .* got -600"),
        (lambda: terminal_clutter_loss(600, 0, 10), "rx_height_m .* got 0"),
        (lambda: terminal_clutter_loss(600, 2, -10), "clutter_height_m .* got -10"),
        (lambda: terminal_clutter_loss(600, 2, 10, 0), "street_width_m .* got 0"),
    ],
)
def test_bad_input_is_refused_with_its_value(call, shown):
    with pytest.raises(InputError, match=shown):
        call()
