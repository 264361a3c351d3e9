"""Writes comparison logs for tests; every station and antenna in them is invented."""

import csv

HEADER = (
    "session_id", "utc", "site_id", "latitude_deg", "longitude_deg", "rf_channel", "station_id",
    "bearing_deg", "antenna_id", "is_reference", "mount_height_m", "aim_deg_true", "polarization",
    "amp_gain_db", "cable_loss_db", "device_id", "scale", "value", "decoded", "repeat_no", "note",
)  # fmt: skip
PLAIN = {
    "session_id": "day1", "site_id": "Hill", "latitude_deg": "44", "longitude_deg": "-36", "rf_channel": "21",
    "bearing_deg": "100", "mount_height_m": "10", "aim_deg_true": "100", "polarization": "H",
    "amp_gain_db": "0", "cable_loss_db": "4", "device_id": "meter", "scale": "dBm", "decoded": "yes",
}  # fmt: skip
UHF_CHANNELS = ("14", "15", "16", "17", "18", "19", "20", "21", "22", "23", "24", "25")


def abba(station, levels, minute=0, day="2026-09-01", antennas=("dipole", "array"), **cells):
    """Four rows in the order A-B-B-A; levels: what each of the four readings shows, None a lost picture."""
    rows = []
    for step, (which, level) in enumerate(zip((0, 1, 1, 0), levels, strict=True)):
        clock = minute + 2 * step
        rows.append(
            PLAIN
            | {
                "utc": f"{day}T{8 + clock // 60:02d}:{clock % 60:02d}Z", "station_id": station,
                "antenna_id": antennas[which], "is_reference": "yes" if which == 0 else "no",
                "value": "" if level is None else f"{level:.3f}", "decoded": "no" if level is None else "yes",
                "repeat_no": str(1 + step // 2),
            }
            | cells
        )  # fmt: skip
    return rows


def write_log(path, rows):
    """Write rows (dictionaries) as a log and return its path."""
    header = [*HEADER, *sorted({name for row in rows for name in row} - set(HEADER))]
    with open(path, "w", newline="", encoding="utf-8") as handle:
        writer = csv.DictWriter(handle, header, restval="")
        writer.writeheader()
        writer.writerows(rows)
    return path


def simulated_log(rng, *, mean_db, stations=8, sessions=1, station_sd=1.2, session_sd=0.6, reading_sd=0.5,
                  threshold_dbm=-200.0, ceiling_dbm=200.0, weakest_dbm=-75.0, span_db=25.0):  # fmt: skip
    """Rows of a log with a known mean over sessions; pictures are lost and readings clip at two limits."""
    of_station = rng.normal(0.0, station_sd, stations)
    levels = rng.uniform(weakest_dbm, weakest_dbm + span_db, stations)
    rows = []
    for session in range(sessions):
        shift = rng.normal(0.0, session_sd)
        for station in range(stations):
            truth = levels[station], levels[station] + mean_db + of_station[station] + shift
            shown = [truth[which] + rng.normal(0.0, reading_sd) for which in (0, 1, 1, 0)]
            clipped = [level > ceiling_dbm for level in shown]
            shown = [None if level < threshold_dbm else min(level, ceiling_dbm) for level in shown]
            four = abba(
                f"S{station}", shown, 12 * station, f"2026-09-{1 + session:02d}",
                session_id=f"day{session + 1}", rf_channel=UHF_CHANNELS[station],
            )  # fmt: skip
            for row, is_clipped in zip(four, clipped, strict=True):
                row["note"] = "saturated" if is_clipped else ""
            rows += four
    return rows
