"""A change detector: a block's numbers may only move together with PHYSICS_VERSION.

The numbers below are our own output, which proves nothing about their truth (the propagation tests do
that). When this test fails and the change is meant: raise PHYSICS_VERSION in covermap/grid/blocks.py,
note the change in CHANGELOG.md with its effect in dB, and add the new numbers here.
"""

import numpy as np
import pyproj
import pytest
from affine import Affine

from covermap.grid.blocks import PHYSICS_VERSION, BlockRequest, as_stored, compute_block
from covermap.grid.frame import Grid
from covermap.terrain.land_cover_file import LandCover
from covermap.terrain.layer import RasterLayer
from covermap.terrain.terrain import Terrain

UTM = pyproj.CRS.from_epsg(32631).to_wkt()
CELLS = ((0, 0), (3, 17), (9, 11), (12, 2), (19, 19), (10, 10))

# version -> loss [dB] and spread [dB] at CELLS, mean over frequencies and heights; departure [degrees];
# class of the path
GOLDEN = {
    3: (  # losses within 250 m of a mast alone moved: none of these cells
        (120.8475, 1.625, -1.93, 2),
        (125.3025, 1.25, -2.38, 2),
        (83.8625, 0.25, -6.43, 0),
        (98.3450, 1.125, -0.43, 0),
        (99.9700, 1.25, -2.53, 0),
        (88.2825, 0.25, -6.39, 0),
    ),
}


def island():
    """Return hills in a sea, with woods of 15 m on every third 500 m square."""
    row, col = np.mgrid[0:220, 0:220] * 0.1
    heights_m = np.maximum(
        0.0,
        150.0 * np.sin(0.8 * col) * np.cos(0.5 * row) + 400.0 * np.exp(-((row - 11.0) ** 2) / 30.0) - 60.0,
    ).astype(np.float32)
    transform = Affine(100.0, 0.0, 499_000.0, 0.0, -100.0, 5_501_000.0)
    woods = ((row // 0.5 + col // 0.5) % 3 == 0).astype(np.uint8)
    clutter_m = np.zeros(256, dtype=np.float32)
    clutter_m[1] = 15.0
    no = np.zeros(256, dtype=bool)
    zones = np.where(heights_m == 0.0, 1, np.where(heights_m < 100.0, 3, 4)).astype(np.uint8)
    return Terrain(
        (RasterLayer("heights", heights_m, transform, UTM),),
        land_cover=LandCover(RasterLayer("cover", woods, transform, UTM), clutter_m, no, no, no),
        zones=RasterLayer("zones", zones, transform, UTM),
    )


def test_results_move_only_with_the_physics_version():
    terrain = island()
    grid = Grid(UTM, 1000.0, 499_000.0, 5_501_000.0, 22, 22)
    request = BlockRequest(
        49.56, 3.14, 120.0, (10.0, 15.0), ((69.0, False), (600.0, True)), (50.0, 10.0), 45.0, 325.0,
        "p1812", 50.0, 250.0, grid, terrain.digest,
    )  # fmt: skip
    block = as_stored(compute_block(request, grid.whole, terrain))
    found = [
        (
            float(block.loss_db[:, :, row, col].mean()),
            float(block.spread_db[:, :, row, col].mean()),
            float(block.departure_deg[row, col]),
            int(block.path_class[row, col]),
        )
        for row, col in CELLS
    ]
    assert PHYSICS_VERSION in GOLDEN, f"No numbers for version {PHYSICS_VERSION}; now they are {found}"
    # A store step of one value in four each way: other processors round otherwise.
    assert found == [pytest.approx(cell, abs=0.07, rel=0.0) for cell in GOLDEN[PHYSICS_VERSION]]
    assert [cell[0] for cell in found] == pytest.approx(
        [cell[0] for cell in GOLDEN[PHYSICS_VERSION]], abs=0.006
    )
