"""The map as a still picture: what stands in the page when scripts are off."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED
from covermap.reports.web_map.layers import OUTSIDE, UNKNOWN
from covermap.reports.web_map.page_grid import PageGrid
from covermap.wording import palette

LONG_SIDE_PX = 1000  # about; a cell takes a whole number of pixels where the map is small enough
HATCH_EACH_PX, HATCH_FROM_PX, DOT_EACH_PX = 10, 12, 8
NUMBER_ROOM_PX = 12
MOST_NUMBERS = 120  # the roomiest patches first
PAPER_GREY = (251, 249, 245)
DPI = 100


def still_picture(
    grid: PageGrid, tier: NDArray[np.uint8], relief: NDArray[np.uint8], masts: list[dict[str, Any]]
) -> bytes:
    """Return a PNG of the tiers over the relief, with numbers, hatch, dots and the masts.

    tier, relief : (rows, cols) of the page's pixels
    masts : records with name, latitude_deg, longitude_deg
    """
    px = max(1, LONG_SIDE_PX // max(tier.shape))
    skip = max(1, round(max(tier.shape) / LONG_SIDE_PX))
    painted = painted_tiers(tier[::skip, ::skip], relief[::skip, ::skip], px)
    return _with_labels(
        painted, number_places(tier[::skip, ::skip], px), _mast_points(grid, masts, px / skip)
    )


def painted_tiers(tier: NDArray[np.uint8], relief: NDArray[np.uint8], px: int) -> NDArray[np.uint8]:
    """Return the RGB picture, px pixels a cell."""
    large = _colours()[tier, relief].repeat(px, axis=0).repeat(px, axis=1)
    tier_large = tier.repeat(px, axis=0).repeat(px, axis=1)
    row, col = np.ogrid[: tier_large.shape[0], : tier_large.shape[1]]
    hatch = _wide_patches(tier_large == TIER_NOT_PROMISED) & ((row + col) % HATCH_EACH_PX == 0)
    large[hatch] = palette.rgb(palette.HATCH_COLOUR)
    dots = (tier_large == UNKNOWN) & (row % DOT_EACH_PX < 2) & (col % DOT_EACH_PX < 2)
    large[dots] = palette.rgb(palette.UNKNOWN_DOT_COLOUR)
    return large


def _colours() -> NDArray[np.uint8]:
    """Return the colour of each tier on each grey of the relief, shape (256, 256, 3)."""
    grey = np.repeat(np.arange(256.0)[:, None], 3, axis=1)
    colours = np.repeat(grey[None], 256, axis=0)
    for look in palette.TIERS:
        fill = np.array(palette.rgb(look.fill))
        colours[look.number] = fill * palette.FILL_OPACITY + grey * (1 - palette.FILL_OPACITY)
    colours[OUTSIDE] = PAPER_GREY
    return np.floor(colours + 0.5).astype(np.uint8)


def _wide_patches(inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the parts of a mask into which a square of HATCH_FROM_PX fits."""
    from scipy import ndimage

    square = (HATCH_FROM_PX, HATCH_FROM_PX)
    held = ndimage.minimum_filter(inside.astype(np.uint8), size=square, mode="nearest")
    return (ndimage.maximum_filter(held, size=square, origin=-1, mode="nearest") > 0) & inside


def number_places(tier: NDArray[np.uint8], px: int) -> list[tuple[int, float, float]]:
    """Return (tier, x, y) in pixels of the roomiest place of each patch that has room for its number."""
    from scipy import ndimage

    found: list[tuple[int, int, float, float]] = []
    for number in range(1, TIER_NOT_PROMISED + 1):
        inside = np.pad(tier == number, 1)
        room = ndimage.distance_transform_cdt(inside, metric="chessboard")[1:-1, 1:-1].ravel()
        patches = ndimage.label(inside[1:-1, 1:-1])[0].ravel()
        roomy = np.flatnonzero((room - 0.5) * px >= NUMBER_ROOM_PX)
        by_patch = roomy[np.lexsort((-room[roomy], patches[roomy]))]  # of equals the first as one reads
        for place in by_patch[np.unique(patches[by_patch], return_index=True)[1]]:
            row, col = divmod(int(place), tier.shape[1])
            found.append((int(room[place]), number, (col + 0.5) * px, (row + 0.5) * px))
    found.sort(key=lambda one: -one[0])
    return [one[1:] for one in found[:MOST_NUMBERS]]


def _mast_points(grid: PageGrid, masts: list[dict[str, Any]], px: float) -> list[tuple[str, float, float]]:
    import pyproj

    to_mercator = pyproj.Transformer.from_crs("EPSG:4326", grid.mercator, always_xy=True)
    points = []
    for mast in masts:
        x, y = to_mercator.transform(mast["longitude_deg"], mast["latitude_deg"])
        points.append(
            (mast["name"], (x - grid.x_min) / grid.pixel_m * px, (grid.y_max - y) / grid.pixel_m * px)
        )
    return points


def _with_labels(
    painted: NDArray[np.uint8], numbers: list[tuple[int, float, float]], masts: list[tuple[str, float, float]]
) -> bytes:
    """Return the picture as PNG with numbers and masts drawn on it; one data unit is one pixel."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.patheffects import withStroke

    height, width = painted.shape[:2]
    figure = Figure(figsize=(width / DPI, height / DPI), dpi=DPI)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.imshow(painted, interpolation="nearest", extent=(0, width, height, 0))
    axes.set_axis_off()
    axes.set(xlim=(0, width), ylim=(height, 0))
    centred: dict[str, Any] = {"ha": "center", "va": "center", "clip_on": True, "parse_math": False}
    plate: dict[str, Any] = {
        "boxstyle": "round,pad=0.25",
        "facecolor": "#FFFFFF",
        "edgecolor": "none",
        "alpha": 0.93,
    }
    for number, x, y in numbers:
        look = palette.tier_look(number)
        halo: dict[str, Any] = {"bbox": plate} if number == TIER_NOT_PROMISED else {}
        text = axes.text(x, y, str(number), fontsize=10, weight="bold", color=look.ink, **centred, **halo)
        if not halo:
            text.set_path_effects([withStroke(linewidth=2, foreground=look.painted)])
    for name, x, y in masts:
        if 0 <= x <= width and 0 <= y <= height:
            axes.plot(x, y - 4, marker="^", markersize=13, color="#15181C", markeredgecolor="#FFFFFF")
            axes.text(x, y + 19, name, fontsize=10, weight="bold", color="#15181C", bbox=plate, **centred)
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=DPI, metadata={"Software": None})
    return buffer.getvalue()
