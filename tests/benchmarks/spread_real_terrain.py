"""How far the radial sweep's value of a cell lies from the exact path to its centre, on real ground.

    python tests/benchmarks/spread_real_terrain.py [CELLS]

For two elevation models of the reference set: a mast on the highest ground and one in a valley, cells of
100, 50 and 250 m, 600 MHz, 10 m mounts, 50 % of time. The exact path runs along the geodesic to the
cell's centre, in equal steps next to 50 m. The aims are our own: mean within 0.5 dB, 95 % of differences
within 3 dB. Prints a row a mast and cell size; "rim" is the farthest fifth of the cells.
"""

import sys
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pyproj
import rasterio

from covermap.grid.blocks import BlockRequest, compute_blocks
from covermap.grid.geodesy import mast_geometry
from covermap.grid.make_grid import make_grid
from covermap.propagation import Profile, p1812_loss
from covermap.terrain.layer import RasterLayer
from covermap.terrain.terrain import Terrain

REFERENCE = Path(__file__).resolve().parents[3] / "shared" / "reference"
FILES = ("terrain/jacksboro_tn/jacksboro_dem_3s.tif", "terrain/logan_ut/logan_dem_100m.tif")
GEODESIC = pyproj.Geod(ellps="WGS84")
FREQUENCY_MHZ, RX_HEIGHT_M, STEP_KM = 600.0, 10.0, 0.05


def read_terrain(path):
    with rasterio.open(path) as source:
        heights_m = source.read(1).astype(np.float32)
        heights_m[heights_m == source.nodata] = np.nan
        return Terrain((RasterLayer(path.stem, heights_m, source.transform, source.crs.to_wkt()),))


def masts(terrain):
    """Yield a name, (longitude, latitude) and antenna height: the summit, and the lowest inner ground."""
    layer = terrain.elevation[0]
    rows, cols = layer.array.shape
    inner = layer.array[rows // 4 : -rows // 4, cols // 4 : -cols // 4]
    for name, flat, tx_height_m in (("summit", inner.argmax(), 50.0), ("valley", inner.argmin(), 150.0)):
        row, col = np.unravel_index(flat, inner.shape)
        longitude, latitude = layer.lonlat(col + cols // 4 + 0.5, row + rows // 4 + 0.5)
        yield name, (float(longitude), float(latitude)), tx_height_m


def exact_loss_db(terrain, mast, tx_height_m, longitude, latitude):
    azimuth, _, length_m = GEODESIC.inv(*mast, longitude, latitude)
    steps = max(2, round(length_m / 1000.0 / STEP_KM))
    along_m = np.linspace(0.0, length_m, steps + 1)
    lon, lat, _ = GEODESIC.fwd(*(np.full(steps + 1, value) for value in (*mast, azimuth)), along_m)
    profile = Profile(along_m / 1000.0, terrain.elevation_m(np.asarray(lon), np.asarray(lat)))
    middle = GEODESIC.fwd(*mast, azimuth, length_m / 2.0)[1]
    return p1812_loss(
        profile,
        frequency_mhz=FREQUENCY_MHZ,
        tx_height_m=tx_height_m,
        rx_height_m=RX_HEIGHT_M,
        latitude_deg=middle,
    ).loss_db


def differences(terrain, mast, tx_height_m, cell_m, samples):
    """Return sweep less exact loss of randomly chosen cells, in dB, and the sweep's seconds."""
    asked = SimpleNamespace(
        cell_m=cell_m, crs="auto", area=None, west=None, south=None, east=None, north=None
    )
    grid = make_grid(asked, None, terrain.bounds_deg)
    request = BlockRequest(
        mast[1], mast[0], tx_height_m, (RX_HEIGHT_M,), ((FREQUENCY_MHZ, False),), (50.0, 10.0), 45.0, 325.0,
        "p1812", 1000.0 * STEP_KM, 250.0, grid, terrain.digest,
    )  # fmt: skip
    compute_blocks(request, [grid.whole], terrain)
    begun = time.perf_counter()
    block = compute_blocks(request, [grid.whole], terrain)[0]
    seconds = time.perf_counter() - begun
    loss_db = block.loss_db[0, 0]
    candidates = np.argwhere(np.isfinite(loss_db) & ~block.near)
    chosen = candidates[np.random.default_rng(1).choice(len(candidates), samples, replace=False)]
    lon, lat = grid.centres_lonlat(grid.whole)
    exact = np.array([exact_loss_db(terrain, mast, tx_height_m, lon[r, c], lat[r, c]) for r, c in chosen])
    far = mast_geometry(mast[1], mast[0], lon, lat).distance_km[tuple(chosen.T)]
    return loss_db[tuple(chosen.T)] - exact, far, seconds


def main():
    samples = int(sys.argv[1]) if len(sys.argv) > 1 else 1500
    print("terrain              mast   cell_m cells  mean_db sd_db abs95_db abs99_db rim95_db sweep_s")
    for cell_m in (100.0, 50.0, 250.0):
        for file in FILES:
            terrain = read_terrain(REFERENCE / file)
            for name, mast, tx_height_m in masts(terrain):
                error_db, far, seconds = differences(terrain, mast, tx_height_m, cell_m, samples)
                known = np.isfinite(error_db)
                error_db, size_db, far = error_db[known], np.abs(error_db[known]), far[known]
                rim_db = size_db[far > np.percentile(far, 80.0)]
                print(
                    f"{Path(file).stem:20s} {name:6s} {cell_m:6.0f} {known.sum():5d} {error_db.mean():8.2f} "
                    f"{error_db.std():5.2f} {np.percentile(size_db, 95):8.2f} "
                    f"{np.percentile(size_db, 99):8.2f} {np.percentile(rim_db, 95):8.2f} {seconds:7.2f}"
                )


if __name__ == "__main__":
    main()
