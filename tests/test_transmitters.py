"""The station file: what a row becomes, and one clear sentence for a row that is wrong."""

import math

import pytest

from covermap.errors import InputError
from covermap.scenario import check_positions, compare_ground, read_scenario
from tests.scenario_files import HEADER, ROWS, changed_row, station_csv, write_scenario

ANY = "[wanted.any]\nat_least = 1\n"


def read(tmp_path, *rows, header=HEADER, **changes):
    """Return the scenario of a station file with these rows."""
    stations = changes.pop("stations", None) or station_csv(*rows, header=header)
    return read_scenario(write_scenario(tmp_path, stations=stations, wanted=ANY, **changes))


def refusal(tmp_path, *rows, **changes):
    with pytest.raises(InputError) as caught:
        read(tmp_path, *rows, **changes)
    return str(caught.value)


def with_column(column, value, row=ROWS[0], header=HEADER):
    """Return (row, header) with one more column."""
    return f"{row},{value}", f"{header},{column}"


def renamed(column, new_name, header=HEADER):
    return header.replace(column, new_name)


def test_row_becomes_a_station(tmp_path):
    station = read(tmp_path).stations[0]
    assert (station.station_id, station.service, station.mast) == ("ONE", "First TV", "North Mast")
    assert (station.latitude_deg, station.longitude_deg) == (44.10, -36.10)
    # 47 CFR 73.603(a): channel 21 is 512 to 518 MHz
    assert (station.rf_channel, station.frequency_mhz, station.bandwidth_mhz, station.band) == (
        21,
        515.0,
        6.0,
        "uhf",
    )
    assert (station.erp_kw, station.antenna_height_m, station.ground_m) == (40.0, 120.0, None)
    assert (station.polarization, station.system, station.use) == ("horizontal", "atsc1_8vsb", "wanted")
    assert station.source == "transmitters.csv, line 2"
    assert station.azimuth_pattern is None


def test_summary_of_a_scenario(tmp_path):
    scenario = read(tmp_path)
    assert scenario.masts == ("North Mast", "South Mast")
    assert scenario.stations_as_of == "2026-09-01"
    assert scenario.left_out == {"off air": 1}
    assert scenario.warnings == ()


def test_displayed_number_in_the_channel_column_reads_as_promised(tmp_path):
    # the wording of outputs.md section 7
    message = refusal(tmp_path, ROWS[0], ROWS[1], changed_row(ROWS[2], rf_channel="5.1"))
    assert message == (
        'transmitters.csv, line 4, column rf_channel: found "5.1".\n'
        "  A number with a point is the one shown on the set. Put 5.1 in displayed_channel and the\n"
        "  RF channel (a whole number, 2 to 36 in plan us_6mhz) in rf_channel."
    )


# each: changed cells, then what stands in the message: where, found, right, next
CELL_CASES = [
    ({"station_id": ""}, ['column station_id: found ""', "letters, digits", "Correct the cell"]),
    ({"station_id": "Aux"}, ['column station_id: found "Aux"', "Windows keeps this one", '"Aux-1"']),
    ({"station_id": "a/b"}, ['column station_id: found "a/b"', '("a-b")', "Correct the cell"]),
    ({"service": ""}, ['column service: found ""', "the name of the programme", "Fill the cell"]),
    ({"status": "on_fire"}, ['column status: found "on_fire"', "on_air, planned", "Correct the cell"]),
    (
        {"latitude_deg": ""},
        ['column latitude_deg: found ""', "A position is needed here", "Write decimal degrees"],
    ),
    (
        {"latitude_deg": "NaN"},
        ['column latitude_deg: found "NaN"', "A position is needed here", "Write decimal degrees"],
    ),
    ({"longitude_deg": "inf"}, ['column longitude_deg: found "inf"', "Write decimal degrees"]),
    (
        {"latitude_deg": "-95"},
        ['column latitude_deg: found "-95"', "between -90 and 90", "exchange the two columns"],
    ),
    ({"latitude_deg": "87"}, ['column latitude_deg: found "87"', "up to 85 degrees", "remove the row"]),
    ({"longitude_deg": "4000"}, ['column longitude_deg: found "4000"', "Write decimal degrees"]),
    (
        {"latitude_deg": "0", "longitude_deg": "0"},
        ['found "0" and "0"', "unknown position", "Fill the cells"],
    ),
    ({"latitude_deg": "44-75-00 N"}, ['found "44-75-00 N"', "must be under 60", "Write decimal degrees"]),
    ({"latitude_deg": "44.1 E"}, ['found "44.1 E"', "takes N or S, not E", "Correct the cell"]),
    (
        {"rf_channel": ""},
        ['column rf_channel: found ""', "needs rf_channel or frequency_mhz", "Fill the cell"],
    ),
    ({"rf_channel": "1"}, ['column rf_channel: found "1"', "2 to 36 in plan us_6mhz", "Correct the cell"]),
    (
        {"rf_channel": "37"},
        ['column rf_channel: found "37"', "not used for television", "2 to 36", "Correct"],
    ),
    ({"rf_channel": "-21"}, ['column rf_channel: found "-21"', "2 to 36", "Correct the cell"]),
    ({"erp_kw": ""}, ['column erp_kw: found ""', "effective radiated power", "Fill the cell"]),
    ({"erp_kw": "much"}, ['column erp_kw: found "much"', "a number", "Correct the cell"]),
    ({"erp_kw": "0"}, ['column erp_kw: found "0"', "greater than 0", "rename the column erp_dbk"]),
    ({"erp_kw": "-3"}, ['column erp_kw: found "-3"', "only be decibels", "rename the column erp_dbk"]),
    ({"erp_kw": "40000"}, ['column erp_kw: found "40000"', "more than 5,000 kW", "rename the column erp_w"]),
    (
        {"erp_kw": "1e-300"},
        ['column erp_kw: found "1e-300"', "no power a transmitter has", "unit of the column"],
    ),
    ({"rf_channel": "²"}, ['column rf_channel: found "²"', "2 to 36", "Correct the cell"]),
    ({"antenna_height_m": ""}, ['column antenna_height_m: found ""', "height above ground", "Fill the cell"]),
    ({"antenna_height_m": "0"}, ['column antenna_height_m: found "0"', "greater than 0", "Correct the cell"]),
    (
        {"antenna_height_m": "-20"},
        ['column antenna_height_m: found "-20"', "greater than 0", "Correct the cell"],
    ),
    ({"antenna_height_m": "120 m"}, ['found "120 m"', "a number", "Correct the cell"]),
    (
        {"polarization": "X"},
        ['column polarization: found "X"', "H, V, slant or circular", "Correct the cell"],
    ),
    ({"system": "atsc1"}, ['column system: found "atsc1"', "atsc1_8vsb", "Correct the name"]),
    ({"system": "dvbt9_qpsk"}, ['column system: found "dvbt9_qpsk"', "Families", "Correct the name"]),
    ({"use": "want"}, ['column use: found "want"', "wanted or interferer", "Correct the cell"]),
    ({"as_of": "1/9/2026"}, ['column as_of: found "1/9/2026"', "2026-09-01", "Correct the cell"]),
]


@pytest.mark.parametrize(("cells", "parts"), CELL_CASES)
def test_wrong_cell_is_refused_with_where_found_right_and_next(tmp_path, cells, parts):
    message = refusal(tmp_path, ROWS[1], changed_row(ROWS[0], **cells))
    assert message.startswith("transmitters.csv, line 3")
    for part in parts:
        assert part in message


COLUMN_CASES = [
    ("erp_kw", "erp", ['found "erp"', "unit", "Rename it erp_kw, erp_w or erp_dbk"]),
    ("erp_kw", "eirp", ['found "eirp"', "unit", "Rename it eirp_kw"]),
    (
        "antenna_height_m",
        "height",
        ['found "height"', "unit", "Rename it antenna_height_m or antenna_height_ft"],
    ),
    (
        "antenna_height_m",
        "haat_m",
        ["no column antenna_height_m", "HAAT is another height", "Add the column"],
    ),
    ("rf_channel", "channel", ['found "channel"', "kind", "Rename it rf_channel"]),
    ("rf_channel", "frequency", ['found "frequency"', "Rename it frequency_mhz", "divide by 1000"]),
    (
        "latitude_deg",
        "latitude_degg",
        ["no column latitude_deg", 'Is "latitude_degg" meant for it?', "Add the column"],
    ),
    ("service", "programme", ["no column service", "names the programme", "Add the column"]),
    ("displayed_channel", "mast", ['found the column "mast" twice', "Keep one"]),
    ("station_id", "lat", ['found both "lat" and "latitude_deg"', "the same", "Keep one"]),
]


@pytest.mark.parametrize(("column", "new_name", "parts"), COLUMN_CASES)
def test_wrong_column_is_refused_with_where_found_right_and_next(tmp_path, column, new_name, parts):
    message = refusal(tmp_path, *ROWS, header=renamed(column, new_name))
    assert message.startswith("transmitters.csv, header: found")
    for part in parts:
        assert part in message


# dB above 1 kW: 10 log10(40) = 16.0206; EIRP is 2.15 dB above ERP (ITU-R P.341): 40 kW ERP = 65.62 kW EIRP
@pytest.mark.parametrize(
    ("column", "value", "erp_kw"),
    [
        ("erp_w", "40000", 40.0),
        ("erp_dbk", "16.0206", 40.0),
        ("erp_dbw", "46.0206", 40.0),
        ("eirp_kw", "65.6236", 40.0),
        ("eirp_w", "65623.6", 40.0),
        ("eirp_dbm", "78.1706", 40.0),
        ("erp_dbk", "-10", 0.1),  # negative decibels are a small power
    ],
)
def test_power_is_read_in_the_unit_of_its_column(tmp_path, column, value, erp_kw):
    station = read(tmp_path, changed_row(erp_kw=value), header=renamed("erp_kw", column)).stations[0]
    assert station.erp_kw == pytest.approx(erp_kw, rel=1e-5)


def test_station_with_transmitter_power_only_is_left_out_and_counted(tmp_path):
    row, header = with_column("tpo_kw", "2", changed_row(ROWS[0], erp_kw=""))
    other, _ = with_column("tpo_kw", "", ROWS[1])
    scenario = read(tmp_path, row, other, header=header)
    assert [station.station_id for station in scenario.stations] == ["TWO"]
    assert scenario.left_out == {"ERP unknown": 1}
    assert any(
        "line 2: no ERP, only the power at the transmitter's output" in text for text in scenario.warnings
    )


def test_height_in_feet_becomes_metres(tmp_path):
    # 1 ft = 0.3048 m exactly (international foot)
    header = renamed("antenna_height_m", "antenna_height_ft")
    station = read(tmp_path, changed_row(antenna_height_m="1000"), header=header).stations[0]
    assert station.antenna_height_m == pytest.approx(304.8)


def test_height_above_sea_level_needs_the_ground(tmp_path):
    header = renamed("antenna_height_m", "antenna_height_amsl_m")
    row, with_ground = with_column("ground_m", "200", changed_row(antenna_height_m="320"), header)
    # 320 m above the sea less 200 m of ground
    assert read(tmp_path, row, header=with_ground).stations[0].antenna_height_m == pytest.approx(120.0)
    message = refusal(tmp_path, changed_row(antenna_height_m="320"), header=header)
    assert 'column antenna_height_amsl_m: found "320"' in message
    assert "needs ground_m beside it" in message
    below, _ = with_column("ground_m", "400", changed_row(antenna_height_m="320"), header)
    assert "below the ground at 400 m" in refusal(tmp_path, below, header=with_ground)


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("antenna_height_ft", "390", "The row also has antenna_height_m 120. Keep one"),
        ("erp_w", "40000", "The row also has erp_kw 40. Keep one"),
        ("electrical_tilt_deg", "40", "a number from -15 to 15"),
        ("required_cn_db", "150", "a number of dB from -10 to 40"),
    ],
)
def test_a_further_column_that_cannot_be_is_refused(tmp_path, column, value, words):
    row, header = with_column(column, value)
    assert words in refusal(tmp_path, row, header=header)


WARNING_CASES = [
    ({"erp_kw": "0.0005"}, 'column erp_kw: "0.0005" is 0.5 W'),
    ({"antenna_height_m": "700"}, "column antenna_height_m: the antenna stands 700 m above ground"),
    ({"rf_channel": "40"}, "channel 40 of plan us_6mhz is no longer used for television"),
    ({"polarization": "elliptical"}, "taken as horizontal, with the ERP of the row as its horizontal part"),
    ({"polarization": ""}, "polarization is missing in 1 of 3 rows (first: line 2); taken as horizontal"),
    ({"latitude_deg": "440600"}, '"440600" is read as 44 degrees 06 minutes 00 seconds'),
    ({"mast": "South Mast"}, 'mast "South Mast" stands 23.6 km from where ONE has it'),
]


@pytest.mark.parametrize(("cells", "warning"), WARNING_CASES)
def test_doubtful_cell_is_used_with_a_warning(tmp_path, cells, warning):
    scenario = read(tmp_path, changed_row(ROWS[0], **cells), *ROWS[1:])
    assert len(scenario.stations) == 3
    assert any(warning in text for text in scenario.warnings), scenario.warnings


def test_polarization_words(tmp_path):
    words = {"H": "horizontal", "vertical": "vertical", "Slant": "slant", "circular": "circular"}
    rows = [
        changed_row(ROWS[0], station_id=f"S{number}", polarization=word) for number, word in enumerate(words)
    ]
    assert [station.polarization for station in read(tmp_path, *rows).stations] == list(words.values())


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ({"status": "off_air"}, "off air"),
        ({"status": "Application"}, "filed only"),
        ({"status": "filed"}, "filed only"),
        ({"status": "expired"}, "expired"),
        ({"status": "deleted"}, "deleted"),
        ({"system": "FM", "rf_channel": ""}, "radio"),
        ({"system": "analogue"}, "analogue"),
    ],
)
def test_row_that_is_no_television_on_the_air_is_counted_not_read(tmp_path, cells, reason):
    # its other cells may be anything
    scenario = read(tmp_path, changed_row(ROWS[0], **cells, erp_kw="?"), ROWS[1])
    assert [station.station_id for station in scenario.stations] == ["TWO"]
    assert scenario.left_out == {reason: 1}


def test_planned_station_counts(tmp_path):
    assert read(tmp_path, changed_row(ROWS[0], status="planned")).stations[0].status == "planned"


def test_file_without_a_station_on_the_air_is_refused(tmp_path):
    message = refusal(tmp_path, ROWS[3])
    assert message.startswith("transmitters.csv: no stations: found all 1 rows are left out (1 off air)")
    assert "Add a row for each transmitter" in message
    assert "no stations: found no rows" in refusal(tmp_path, stations=HEADER + "\n")
    assert "transmitters.csv is empty" in refusal(tmp_path, stations="\n")


def test_identical_rows_are_used_once_with_a_warning(tmp_path):
    scenario = read(tmp_path, ROWS[0], ROWS[1], ROWS[0])
    assert [station.station_id for station in scenario.stations] == ["ONE", "TWO"]
    assert any("line 4: the same row as line 2" in text for text in scenario.warnings)


def test_one_id_with_different_rows_is_refused(tmp_path):
    message = refusal(tmp_path, ROWS[0], changed_row(ROWS[0], erp_kw="41"))
    assert 'transmitters.csv, line 3, column station_id: found "ONE"' in message
    assert "already stands in line 2" in message
    assert "Delete one row, or give it another station_id" in message
    # two files of one name on a disk that ignores case
    assert "already stands in line 2" in refusal(tmp_path, ROWS[0], changed_row(ROWS[1], station_id="one"))


def test_licence_beside_application_and_permit_keeps_the_one_on_the_air(tmp_path):
    planned = changed_row(ROWS[0], status="planned", erp_kw="80")
    filed = changed_row(ROWS[0], status="application", erp_kw="90")
    scenario = read(tmp_path, planned, filed, ROWS[0])
    assert [station.erp_kw for station in scenario.stations] == [40.0]
    assert any("the row on the air (line 4) is used" in text for text in scenario.warnings)
    assert scenario.left_out == {"filed only": 1, "planned beside on air": 1}


def test_without_ids_every_transmitter_gets_one(tmp_path):
    header = HEADER.removeprefix("station_id,")
    rows = [row.split(",", 1)[1] for row in ROWS[:3]]
    ids = [station.station_id for station in read(tmp_path, *rows, header=header).stations]
    assert ids == ["North-Mast-First-TV-21", "North-Mast-Second-TV-29", "South-Mast-Third-TV-10"]


def test_mast_without_a_name_is_its_position(tmp_path):
    rows = [changed_row(row, mast="") for row in ROWS[:3]]
    assert read(tmp_path, *rows).masts == ("44.100 N 36.100 W", "43.900 N 36.000 W")


def test_html_and_emoji_in_a_name_stay_text(tmp_path):
    name = "<script>alert(1)</script> 📺 =1+1"
    assert read(tmp_path, changed_row(service=name)).stations[0].service == name


def test_name_over_255_letters_is_refused(tmp_path):
    assert "at most 255 letters" in refusal(tmp_path, changed_row(service="x" * 256))


def test_channel_and_frequency_must_agree(tmp_path):
    row, header = with_column("frequency_mhz", "515")
    assert read(tmp_path, row, header=header).stations[0].frequency_mhz == 515.0
    # 47 CFR 73.603(a): 195 MHz is channel 10; a set may still show it as 21
    row, header = with_column("frequency_mhz", "195")
    message = refusal(tmp_path, row, header=header)
    assert 'column rf_channel: found "21"' in message
    assert "frequency_mhz 195, but channel 21 of plan us_6mhz is 512 to 518 MHz" in message
    assert "correct one of the two" in message


def test_frequency_alone_finds_its_channel(tmp_path):
    header = renamed("rf_channel", "frequency_mhz")
    station = read(tmp_path, changed_row(rf_channel="189"), header=header).stations[0]
    assert (station.rf_channel, station.band) == (9, "high_vhf")  # 47 CFR 73.603(a)


def test_frequency_off_the_raster_is_used_with_a_warning(tmp_path):
    header = renamed("rf_channel", "frequency_mhz")
    scenario = read(tmp_path, changed_row(rf_channel="514"), header=header)
    assert (scenario.stations[0].frequency_mhz, scenario.stations[0].rf_channel) == (514.0, None)
    assert any("514 is not the centre of a channel" in text for text in scenario.warnings)


@pytest.mark.parametrize("value", ["515000", "0.515", "abc"])
def test_frequency_in_another_unit_is_refused(tmp_path, value):
    header = renamed("rf_channel", "frequency_mhz")
    message = refusal(tmp_path, changed_row(rf_channel=value), header=header)
    assert f'column frequency_mhz: found "{value}"' in message
    assert "MHz from 30 to 3000" in message


def test_band_follows_the_rf_channel_not_the_shown_number(tmp_path):
    station = read(tmp_path, changed_row(displayed_channel="9.1", rf_channel="30")).stations[0]
    assert station.band == "uhf"


def test_shown_number_equal_to_the_channel_everywhere_is_suspicious(tmp_path):
    rows = [
        changed_row(ROWS[0], displayed_channel="21.1"),
        changed_row(ROWS[1], displayed_channel="29.1"),
        changed_row(ROWS[2], displayed_channel="10"),
    ]
    assert any("rf_channel equals the number shown" in text for text in read(tmp_path, *rows).warnings)
    assert read(tmp_path, *rows[:2], ROWS[2]).warnings == ()


@pytest.mark.parametrize(
    ("channel", "number", "frequency_mhz", "bandwidth_mhz"),
    # GE06/CCIR rasters and GE06 Annex 2 noise bandwidths
    [("E5", 5, 177.5, 6.66), ("5", 5, 177.5, 6.66), ("R12", 12, 226.0, 7.61), ("21", 21, 474.0, 7.61)],
)
def test_european_channels(tmp_path, channel, number, frequency_mhz, bandwidth_mhz):
    row = changed_row(rf_channel=channel, system="dvbt_64qam_2_3")
    station = read(tmp_path, row, transmitters='channel_plan = "europe_8mhz"').stations[0]
    assert (station.rf_channel, station.frequency_mhz) == (number, frequency_mhz)
    assert station.bandwidth_mhz == pytest.approx(bandwidth_mhz, abs=0.005)


def test_number_of_two_european_channels_is_ambiguous(tmp_path):
    row = changed_row(rf_channel="7", system="dvbt_64qam_2_3")
    message = refusal(tmp_path, row, transmitters='channel_plan = "europe_8mhz"')
    assert 'column rf_channel: found "7"' in message
    assert "two channels of that number. Write E7 or R7" in message


def test_required_ratio_of_a_row_replaces_the_systems(tmp_path):
    row, header = with_column("required_cn_db", "19.5")
    assert read(tmp_path, row, header=header).stations[0].required_cn_db == 19.5
    assert read(tmp_path).stations[0].required_cn_db == pytest.approx(15.2)  # 47 CFR 73.623(c)(3): 15.19


def test_tilt_upward_is_doubted(tmp_path):
    row, header = with_column("electrical_tilt_deg", "-1")
    assert any("Positive is down" in text for text in read(tmp_path, row, header=header).warnings)


def test_height_that_fits_its_mast_only_as_feet_is_doubted(tmp_path):
    # 394 ft is 120 m, the height of the other two
    rows = [changed_row(ROWS[0], station_id=f"S{number}") for number in range(2)]
    rows.append(changed_row(ROWS[0], station_id="FEET", antenna_height_m="394"))
    assert any("as feet it would be 120 m" in text for text in read(tmp_path, *rows).warnings)


def test_unknown_column_is_named_with_the_nearest(tmp_path):
    row, header = with_column("polarisation", "H")
    warnings = read(tmp_path, row, header=header).warnings
    assert 'transmitters.csv: the column "polarisation" is not used. Did you mean "polarization"?' in warnings


def test_nad27_position_is_shifted_by_tens_of_metres(tmp_path):
    # NGA TR8350.2 (from memory): NAD27 to WGS 84 in the contiguous US is dx -8, dy 160, dz 176 m;
    # by hand at 75 W: east = -dx sin(lon) + dy cos(lon) = -8 x 0.966 + 160 x 0.259 = 33.7 m; 10 m stated
    row, header = with_column("datum", "NAD27", changed_row(latitude_deg="40", longitude_deg="-75"))
    scenario = read(tmp_path, row, header=header)
    east_m = (scenario.stations[0].longitude_deg + 75.0) * 111_320.0 * math.cos(math.radians(40.0))
    assert east_m == pytest.approx(33.7, abs=10.0)
    assert any("shifted from NAD27 to WGS 84" in text for text in scenario.warnings)


def test_unknown_datum_is_refused(tmp_path):
    row, header = with_column("datum", "LOCAL")
    assert 'column datum: found "LOCAL"' in refusal(tmp_path, row, header=header)


AREA = (-36.5, 43.5, -35.5, 44.5)


def test_positions_in_the_area_or_far_from_it_are_accepted(tmp_path):
    check_positions(read(tmp_path).stations, AREA)
    check_positions(read(tmp_path, changed_row(latitude_deg="47", longitude_deg="-30")).stations, AREA)


@pytest.mark.parametrize(
    ("latitude", "longitude", "parts"),
    [
        ("-36.1", "44.1", ["latitude and longitude exchanged", "Exchange latitude_deg and longitude_deg"]),
        ("44.1", "36.1", ["other sign of longitude_deg", "West longitudes are negative", "write -36.1"]),
        ("-44.1", "-36.1", ["other sign of latitude_deg", "South latitudes are negative", "write 44.1"]),
    ],
)
def test_position_that_fits_the_area_with_a_mistake_undone_is_refused(tmp_path, latitude, longitude, parts):
    stations = read(tmp_path, changed_row(latitude_deg=latitude, longitude_deg=longitude)).stations
    with pytest.raises(InputError) as caught:
        check_positions(stations, AREA)
    message = str(caught.value)
    assert 'transmitters.csv, line 2 (station "ONE"): found ' in message
    assert "outside the elevation (43.500 N, 36.500 W to 44.500 N, 35.500 W)" in message
    for part in parts:
        assert part in message


def test_area_across_the_180_degree_meridian_holds_both_sides(tmp_path):
    rows = [
        changed_row(ROWS[0], latitude_deg="-17.5", longitude_deg="179.8"),
        changed_row(ROWS[1], latitude_deg="-17.5", longitude_deg="-179.8"),
    ]
    stations = read(tmp_path, *rows).stations
    check_positions(stations, (179.0, -18.0, -179.0, -17.0))
    with pytest.raises(InputError, match="other sign of longitude_deg"):
        check_positions(stations, (179.0, -18.0, 180.0, -17.0))


@pytest.mark.parametrize(
    ("terrain_m", "said"),
    [
        # the wording of outputs.md section 7
        (251.0, ["transmitters.csv line 2: ground filed 212 m, terrain says 251 m: wrong site or datum?"]),
        (240.0, []),
        (math.nan, []),
    ],
)
def test_ground_that_differs_from_the_terrain_is_said_as_promised(tmp_path, terrain_m, said):
    row, header = with_column("ground_m", "212")
    assert compare_ground(read(tmp_path, row, header=header).stations, [terrain_m]) == said


def test_ground_above_the_antenna_is_refused(tmp_path):
    row, header = with_column("ground_m", "212")
    stations = read(tmp_path, row, header=header).stations
    # 212 m of ground and 120 m of mast: 332 m
    with pytest.raises(InputError, match=r"line 2: ground filed 212 m, terrain says 333 m, which is above"):
        compare_ground(stations, [333.0])
