"""Invented scenarios of any size: fractal ground with land cover; 5 masts of one list, or many masts."""

from __future__ import annotations

import numpy as np
import rasterio
from pyproj import Transformer
from rasterio.transform import from_origin

CELL_M = 100.0
X_MIN, Y_MAX = 400_000.0, 5_600_000.0  # EPSG:32631
UTM = "EPSG:32631", X_MIN, Y_MAX  # of a small map: CRS, x of the west edge, y of the north edge
EUROPE, MIDDLE = "EPSG:3035", (4_321_000.0, 3_210_000.0)  # equal areas, true to 0.2 % as far as 700 km off
MASTS = ((0.3, 0.35), (0.7, 0.3), (0.5, 0.55), (0.25, 0.75), (0.8, 0.7))  # shares of the side
GROUND_CELLS = 2048  # of the fractal; larger maps repeat it mirrored
CLASSES = (2, 2, 2, 3, 4, 4)  # open, suburban, trees: of the built-in table
STATION_COLUMNS = (
    "station_id,service,mast,latitude_deg,longitude_deg,antenna_height_m,rf_channel,erp_kw,polarization,as_of"
)


def rf_channel(number, masts):
    """Return a station's RF channel: four side by side a mast, a free one between masts, the fifth on VHF.

    As channels are planned: neighbours stand on one mast. Beyond 20 stations they are used again.
    """
    mast, place = number % masts, (number // masts) % 4
    return 7 + 2 * place if mast == 4 else 14 + 5 * (mast % 4) + place


def write_scenario(folder, cells, stations=20, masts=5, cell_m=CELL_M):
    """Write a scenario of cells x cells into a new folder and return its path."""
    rows = [
        (
            f"Service {number}",
            number % masts,
            MASTS[number % masts],
            rf_channel(number, masts),
            10 + 7 * number,
        )
        for number in range(stations)
    ]
    services = ", ".join(f'"Service {number}"' for number in range(stations))
    return _write(folder, cells, cell_m, UTM, rows, f"services = [{services}]")


def write_country(folder, cells, masts, networks, cell_m, reach_km):
    """Write a scenario of masts spread evenly, each with a transmitter of every network; return its path.

    Four sets of channels take turns from mast to mast.
    """
    east, south = np.modf(np.outer((0.7548776662, 0.5698402910), np.arange(1, masts + 1)))[0]  # evenly spread
    rows = [
        (
            f"Network {network}",
            mast,
            (east[mast], south[mast]),
            14 + 5 * (mast % 4) + network % 5,
            10 + 3 * network,
        )
        for mast in range(masts)
        for network in range(networks)
    ]
    names = ", ".join(f'"Network {network}"' for network in range(networks))
    further = f"[prediction]\nreach_km = {reach_km:g}\n"
    half_m = 0.5 * cells * cell_m
    frame = EUROPE, MIDDLE[0] - half_m, MIDDLE[1] + half_m
    return _write(folder, cells, cell_m, frame, rows, f"networks = [{names}]", further)


def _write(folder, cells, cell_m, frame, stations, wanted, further=""):
    """Write the files of a scenario; stations : service, mast, place in shares of the side, channel, kW."""
    folder.mkdir(parents=True)
    crs, x_min, y_max = frame
    profile = {
        "driver": "GTiff", "width": cells + 20, "height": cells + 20, "count": 1, "crs": crs,
        "transform": from_origin(x_min - 10 * cell_m, y_max + 10 * cell_m, cell_m, cell_m),
        "tiled": True, "compress": "deflate",
    }  # fmt: skip
    ground_m, classes = _land()
    for name, array, nodata in (("elevation.tif", ground_m, -9999.0), ("land_cover.tif", classes, 0)):
        with rasterio.open(folder / name, "w", dtype=array.dtype, nodata=nodata, **profile) as dataset:
            for row in range(0, cells + 20, 512):
                rows = np.arange(row, min(row + 512, cells + 20))
                dataset.write(
                    array[np.ix_(_mirrored(rows), _mirrored(np.arange(cells + 20)))], 1,
                    window=((row, row + rows.size), (0, cells + 20)),
                )  # fmt: skip
    to_degrees = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    lines = [STATION_COLUMNS]
    side_m = cells * cell_m
    for number, (service, mast, (east, south), channel, erp_kw) in enumerate(stations):
        longitude, latitude = to_degrees.transform(x_min + east * side_m, y_max - south * side_m)
        place = f"{latitude:.7f},{longitude:.7f}"
        lines.append(f"S{number},{service},Mast {mast},{place},150,{channel},{erp_kw},H,2026-09-01")
    (folder / "transmitters.csv").write_text("\n".join(lines) + "\n", "utf-8")
    west, south = to_degrees.transform(x_min, y_max - side_m)
    east, north = to_degrees.transform(x_min + side_m, y_max)
    (folder / "scenario.toml").write_text(
        f"""name = "Invented"
output = "out"
[grid]
cell_m = {cell_m:g}
crs = "{crs}"
west = {west:.6f}
south = {south:.6f}
east = {east:.6f}
north = {north:.6f}
[terrain]
elevation = ["elevation.tif"]
land_cover = "land_cover.tif"
[transmitters]
file = "transmitters.csv"
channel_plan = "us_6mhz"
default_system = "atsc1_8vsb"
[wanted.main]
{wanted}
{further}""",
        "utf-8",
    )
    return folder / "scenario.toml"


def _mirrored(index):
    """Return indices into the fractal that run to and fro, without a step where it repeats."""
    turn = index % (2 * GROUND_CELLS)
    return np.minimum(turn, 2 * GROUND_CELLS - 1 - turn)


def _land():
    """Return heights of 0 to some 700 m, and classes of the built-in land-cover table in patches."""
    rng = np.random.default_rng(11)
    wave = np.hypot(np.fft.fftfreq(GROUND_CELLS)[:, None], np.fft.rfftfreq(GROUND_CELLS)[None])
    wave[0, 0] = 1.0
    size = wave**-1.9
    size[0, 0] = 0.0
    shape = np.fft.irfft2(size * np.exp(2j * np.pi * rng.random(size.shape)), (GROUND_CELLS, GROUND_CELLS))
    ground_m = (shape / shape.std() * 110.0).astype(np.float32)
    ground_m -= ground_m.min()
    patches = rng.choice(CLASSES, (GROUND_CELLS // 16, GROUND_CELLS // 16)).astype(np.uint8)
    return ground_m, np.kron(patches, np.ones((16, 16), dtype=np.uint8))
