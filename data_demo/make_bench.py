"""Makes the demo's catalogue and bench log: twelve antennas, two places, one day. All of it is invented.

Run from this folder:  python make_bench.py

The seed is fixed, so the same files come out again. What each antenna truly gains stands below; the catalogue
says what its owner believes before the bench, so that the log has something to find.
"""

from __future__ import annotations

import csv
import datetime
from pathlib import Path

import numpy as np

from covermap.tables import load_table

FOLDER = Path(__file__).resolve().parent
SEED = 20260902
# antenna: name, kind, mounts, boom in m, price, built-in amplifier, impedance loss, source
ANTENNAS = {
    "whip": ("Table whip", "indoor", "shelf window", "", 12, "", ""),
    "flat": ("Flat window antenna", "indoor", "shelf window", "", 24, "", ""),
    "loft_fan": ("Loft fan", "uhf", "loft gable", 0.6, 38, "", ""),
    "combo_small": ("Small combined antenna", "combination", "loft gable rooftop", 0.9, 49, "", ""),
    "combo_long": ("Long combined antenna", "combination", "gable rooftop mast", 2.4, 92, "", ""),
    "combo_active": ("Combined, amplified", "combination", "gable rooftop", 0.9, 84, "masthead_low", ""),
    "grid_two": ("Grid of two", "uhf", "loft gable rooftop mast", "", 42, "", ""),
    "grid_four": ("Grid of four", "uhf", "gable rooftop mast", "", 68, "", ""),
    "boom_long": ("Long UHF boom", "uhf", "rooftop mast", 1.9, 88, "", ""),
    "vhf_dipole": ("VHF dipole", "high_vhf", "loft gable rooftop", "", 19, "", ""),
    "vhf_three": ("VHF boom of three", "high_vhf", "loft gable rooftop mast", 0.6, 39, "", ""),
    "vhf_six": ("VHF boom of six", "high_vhf", "gable rooftop mast", 1.6, 79, "", ""),
}  # fmt: skip
# antenna, band: low, typical, high in dBd, beamwidth in degrees, front to back in dB, source
BELIEVED = [
    ("whip", "high_vhf", -10, -5, -1, "", ""), ("whip", "uhf", -7, -3, 0, "", ""),
    ("flat", "high_vhf", -12, -7, -3, "", ""), ("flat", "uhf", -4, 0, 3, "", ""),
    ("loft_fan", "uhf", 4, 5.5, 7, 58, 14),
    ("combo_small", "high_vhf", 1, 3, 5, 75, 8), ("combo_small", "uhf", 5, 7, 9, 50, 14),
    ("combo_long", "low_vhf", 0, 2, 4, 75, 8),
    ("combo_long", "high_vhf", 6.4, 7, 7.6, 58, 13), ("combo_long", "uhf", 8.9, 9.5, 10.1, 42, 16),
    ("combo_active", "high_vhf", 1, 3, 5, 75, 8), ("combo_active", "uhf", 5, 7, 9, 50, 14),
    ("grid_two", "uhf", 6, 7.5, 9, 62, 15), ("grid_four", "uhf", 8.5, 10.5, 12.5, 60, 17),
    ("boom_long", "uhf", 9, 11.5, 13.5, 33, 19),
    ("vhf_dipole", "high_vhf", -1, -0.3, 0.5, 78, 0), ("vhf_three", "high_vhf", 4, 5.5, 7, 64, 12),
    ("vhf_six", "high_vhf", 6, 8, 10, 52, 14),
]  # fmt: skip
REFERENCE = "combo_long"  # its own gain was compared with a dipole's over a car park, to 0.6 dB
# what the bench will find: candidate less reference at high VHF, in the middle of UHF, and its slope there
TRUE_DB = {
    "combo_small": (-4.6, -2.4, -1.0),
    "grid_four": (-13.0, 0.6, 1.6),
    "vhf_six": (2.1, None, 0.0),
}
DEVICE_PRICES = {
    "masthead_low": 55, "masthead_high": 68, "distribution": 49, "launch": 140, "cable_6": 0.6,
    "cable_59": 0.5, "cable_11": 1.4, "splitter_2": 6, "splitter_3": 8, "splitter_4": 10, "splitter_6": 15,
    "splitter_8": 19,
    "splitter_16": 42, "combiner_2": 9, "diplexer": 11, "filter_low_pass": 18, "filter_fm": 14,
    "filter_channel": 32, "balun": 4, "connector": 1, "outlet": 7, "arrestor": 13, "tap_8": 6, "tap_12": 6,
    "tap_16": 6, "tap_20": 6,
}  # fmt: skip
BAND_MIDDLE_MHZ, BAND_HALF_MHZ = 545.0, 60.0
# station: channel, frequency in MHz
STATIONS = {
    "SEAS": (8, 183.0), "CTV": (10, 195.0), "MLRN": (12, 207.0), "MTV": (14, 473.0), "NEWS": (16, 485.0),
    "VSHOP": (19, 503.0), "SK1": (21, 515.0), "RPUB": (24, 533.0), "SK2": (29, 563.0), "LIFE": (33, 587.0),
    "VLOC": (35, 599.0),
}  # fmt: skip
# place: position, first reading, bearings, and level of the reference in dBm: near what the map of the demo
# predicts but for Seven Seas at the quay, so that the page has a reading far off to tell of
PLACES = {
    "Quay yard": (
        (43.9600, -35.6600), "2026-09-05T08:10+00:00",
        {"SEAS": (118, -62), "CTV": (0, -55), "MLRN": (266, -70), "MTV": (266, -58), "NEWS": (118, -57),
         "VSHOP": (81, -72), "SK1": (0, -51), "RPUB": (118, -60), "SK2": (0, -53), "LIFE": (0, -56),
         "VLOC": (81, -75)},
    ),
    "Chapel field": (
        (43.9720, -35.7000), "2026-09-05T13:05+00:00",
        {"SEAS": (116, -66), "CTV": (36, -22), "MLRN": (252, -71), "MTV": (252, -55), "NEWS": (116, -63),
         "VSHOP": (89, -77), "SK1": (36, -24), "RPUB": (116, -66), "SK2": (36, -24), "LIFE": (36, -27),
         "VLOC": (89, -79)},
    ),
}  # fmt: skip
LOST_BELOW_DBM = -80.0
PATH_SD_DB, SITE_SD_DB, SESSION_SD_DB, READING_SD_DB = 1.0, 0.4, 0.3, 0.4
ANTENNA_COLUMNS = (
    "antenna_id", "name", "kind", "mounts", "boom_m", "price", "amplifier", "impedance_loss_db", "source",
)  # fmt: skip
GAIN_COLUMNS = (
    "antenna_id", "band", "frequency_mhz", "gain_low_dbd", "gain_dbd", "gain_high_dbd", "beamwidth_deg",
    "front_to_back_db", "source",
)  # fmt: skip
LOG_COLUMNS = (
    "session_id", "utc", "site_id", "latitude_deg", "longitude_deg", "rf_channel", "station_id",
    "bearing_deg", "antenna_id", "is_reference", "mount_height_m", "aim_deg_true", "polarization",
    "cable_loss_db", "device_id", "scale", "value", "decoded", "repeat_no",
)  # fmt: skip


def catalogue_rows() -> tuple[list[list[object]], list[list[object]]]:
    """Return the rows of antennas.csv and antenna_gains.csv."""
    antennas = [[key, *values, "invented"] for key, values in ANTENNAS.items()]
    gains = []
    for key, band, *numbers in BELIEVED:
        how = (
            "measured 2026-06-20 against a dipole, 95 %"
            if key == REFERENCE and band != "low_vhf"
            else "judgement"
        )
        gains.append([key, band, "", *numbers, f"{how}; invented"])
    return antennas, gains


def difference_db(antenna: str, mhz: float) -> float | None:
    """Return what an antenna truly brings more than the reference; None where it brings no picture."""
    at_vhf, at_uhf, slope_db = TRUE_DB[antenna]
    if mhz < 300.0:
        return at_vhf
    return None if at_uhf is None else at_uhf + slope_db * (mhz - BAND_MIDDLE_MHZ) / BAND_HALF_MHZ


def bench_day(rng: np.random.Generator) -> list[list[object]]:
    """Return the rows of the log: at each place and station every antenna twice, in mirrored order."""
    rows: list[list[object]] = []
    for site, ((latitude_deg, longitude_deg), start, stations) in PLACES.items():
        clock = datetime.datetime.fromisoformat(start)
        of_site = {antenna: rng.normal(0.0, SITE_SD_DB) for antenna in TRUE_DB}
        of_session = {antenna: rng.normal(0.0, SESSION_SD_DB) for antenna in TRUE_DB}
        for station, (bearing_deg, level_dbm) in stations.items():
            channel, mhz = STATIONS[station]
            of_path = {antenna: rng.normal(0.0, PATH_SD_DB) for antenna in TRUE_DB}
            order = [REFERENCE, *TRUE_DB]
            for step, antenna in enumerate([*order, *reversed(order)]):
                more_db = 0.0 if antenna == REFERENCE else difference_db(antenna, mhz)
                shown = -200.0
                if more_db is not None:
                    shift = (
                        0.0
                        if antenna == REFERENCE
                        else of_site[antenna] + of_session[antenna] + of_path[antenna]
                    )
                    shown = level_dbm + more_db + shift + rng.normal(0.0, READING_SD_DB)
                lost = shown < LOST_BELOW_DBM
                rows.append([
                    f"{site}, 5 September", clock.strftime("%Y-%m-%dT%H:%MZ"), site, latitude_deg,
                    longitude_deg, channel, station, bearing_deg, antenna,
                    "yes" if antenna == REFERENCE else "no", 6, bearing_deg, "H", 3.5, "field meter", "dBm",
                    "" if lost else f"{shown:.1f}", "no" if lost else "yes", 1 + step // len(order),
                ])  # fmt: skip
                clock += datetime.timedelta(minutes=1)
            clock += datetime.timedelta(minutes=3)
    return rows


def device_rows() -> tuple[tuple[str, ...], list[list[str]]]:
    """Return columns and rows of devices.csv: covermap's generic ones with prices."""
    rows = load_table("devices")
    for row in rows:
        row["price"] = str(DEVICE_PRICES.get(row["device_id"], ""))
        row["source"] += "; price invented"
    return tuple(rows[0]), [list(row.values()) for row in rows]


def write(name: str, columns: tuple[str, ...], rows: list[list[object]]) -> None:
    """Write a CSV file beside this script."""
    with (FOLDER / name).open("w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(rows)


def main() -> None:
    """Write the tables of the catalogue and bench_log.csv."""
    antennas, gains = catalogue_rows()
    write("antennas.csv", ANTENNA_COLUMNS, antennas)
    write("antenna_gains.csv", GAIN_COLUMNS, gains)
    write("devices.csv", *device_rows())
    write("bench_log.csv", LOG_COLUMNS, bench_day(np.random.default_rng(SEED)))


if __name__ == "__main__":
    main()
