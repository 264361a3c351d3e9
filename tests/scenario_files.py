"""Writes a minimal valid scenario for tests; every part of its text can be changed."""

from pathlib import Path

HEADER = (
    "station_id,service,mast,displayed_channel,status,latitude_deg,longitude_deg,rf_channel,erp_kw,"
    "antenna_height_m,polarization,system,use,as_of"
)
# Invented stations in open ocean.
ROWS = (
    "ONE,First TV,North Mast,5.1,on_air,44.10,-36.10,21,40,120,H,atsc1_8vsb,wanted,2026-09-01",
    "TWO,Second TV,North Mast,8.1,on_air,44.10,-36.10,29,40,120,H,atsc1_8vsb,wanted,2026-09-01",
    "LOW,Third TV,South Mast,3.1,on_air,43.90,-36.00,10,5,80,V,atsc1_8vsb,wanted,2026-08-01",
    "OLD,Gone TV,South Mast,9.1,off_air,43.90,-36.00,30,5,80,V,atsc1_8vsb,wanted,2026-08-01",
)
WANTED = '[wanted.main]\nservices = ["First TV", "8.1", "RF 10"]\n'


def station_csv(*rows, header=HEADER):
    """Return the text of a station file; without rows the four of ROWS."""
    return "\n".join([header, *(rows or ROWS)]) + "\n"


def changed_row(row=ROWS[0], header=HEADER, **cells):
    """Return a row of a station file with some cells changed, named by their column."""
    values = dict(zip(header.split(","), row.split(","), strict=True)) | cells
    return ",".join(values.values())


def write_scenario(
    folder: Path,
    *,
    stations=None,
    stations_name="transmitters.csv",
    patterns=None,
    wanted=WANTED,
    transmitters='channel_plan = "us_6mhz"\ndefault_system = "atsc1_8vsb"\n',
    terrain='elevation = ["elevation.tif"]\n',
    grid="cell_m = 100\n",
    extra="",
    top='name = "Test"\n',
):
    """Write scenario.toml and its station file into a folder and return the path of scenario.toml.

    stations : text (or bytes) of the station file; patterns : text of patterns.csv, named in the scenario
    wanted, transmitters, terrain, grid : the lines of these tables; extra : further tables; top : lines above
    elevation.tif is made as an empty file: reading a scenario only looks whether it exists.
    """
    folder = Path(folder)
    text = station_csv() if stations is None else stations
    (folder / stations_name).write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    if patterns is not None:
        (folder / "patterns.csv").write_text(patterns, encoding="utf-8")
        transmitters += 'patterns = "patterns.csv"\n'
    if "elevation.tif" in terrain:
        (folder / "elevation.tif").touch()
    path = folder / "scenario.toml"
    path.write_text(
        f"{top}\n[grid]\n{grid}\n[terrain]\n{terrain}\n"
        f'[transmitters]\nfile = "{stations_name}"\n{transmitters}\n{wanted}\n{extra}',
        encoding="utf-8",
    )
    return path
