"""An invented scenario of any size: fractal ground with land cover, 5 masts, stations of one list."""

from __future__ import annotations

import numpy as np
import rasterio
from pyproj import Transformer
from rasterio.transform import from_origin

CELL_M = 100.0
X_MIN, Y_MAX = 400_000.0, 5_600_000.0  # EPSG:32631
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
    folder.mkdir(parents=True)
    profile = {
        "driver": "GTiff", "width": cells + 20, "height": cells + 20, "count": 1, "crs": "EPSG:32631",
        "transform": from_origin(X_MIN - 10 * cell_m, Y_MAX + 10 * cell_m, cell_m, cell_m),
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
    to_degrees = Transformer.from_crs("EPSG:32631", "EPSG:4326", always_xy=True)
    lines = [STATION_COLUMNS]
    side_m = cells * cell_m
    for number in range(stations):
        east, south = MASTS[number % masts]
        longitude, latitude = to_degrees.transform(X_MIN + east * side_m, Y_MAX - south * side_m)
        lines.append(
            f"S{number},Service {number},Mast {number % masts},{latitude:.7f},{longitude:.7f},150,"
            f"{rf_channel(number, masts)},{10 + 7 * number},H,2026-09-01"
        )
    (folder / "transmitters.csv").write_text("\n".join(lines) + "\n", "utf-8")
    west, south = to_degrees.transform(X_MIN, Y_MAX - side_m)
    east, north = to_degrees.transform(X_MIN + side_m, Y_MAX)
    services = ", ".join(f'"Service {number}"' for number in range(stations))
    (folder / "scenario.toml").write_text(
        f"""name = "Invented"
output = "out"
[grid]
cell_m = {cell_m:g}
crs = "EPSG:32631"
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
services = [{services}]
""",
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
