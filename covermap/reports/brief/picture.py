"""Still maps for paper: squares over relief, numbers, masts, places and a scale bar."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyproj
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED
from covermap.grid.frame import Grid
from covermap.reports.web_map.layers import OUTSIDE
from covermap.reports.web_map.still import number_places, painted_tiers
from covermap.result.coverage import Coverage
from covermap.wording import palette
from covermap.wording.words import KM_PER_MILE, as_given

WIDTH_CSS_PX, TALLEST_CSS_PX = 378, 560
SHARPNESS = 3  # picture pixels a CSS pixel: 288 a printed inch
LEGEND_PT, NUMBER_PT = 9.0, 9.0
SCALE_SHARE = 0.3  # the scale bar is at most this part of the picture's width
INK, PAPER = "#15181C", "#FFFFFF"
PLACE_EACH_CSS_PX = 12_000  # a name for so much of the picture, so that the map stays to be seen
CROP_MARGIN_CELLS = 2
PLATE_PAD = 3.0  # CSS pixels around a name


@dataclass(frozen=True)
class Label:
    """A name on the picture at a position in the grid's CRS; masts have a sign of their own.

    is_point : a number in a ring, for a place that a table speaks of: it stands there whatever is around
    """

    name: str
    x: float
    y: float
    is_mast: bool = False
    is_point: bool = False


@dataclass(frozen=True)
class Picture:
    """A PNG and the size it is meant to be shown at, in CSS pixels."""

    png: bytes
    width_px: int
    height_px: int


def brief_picture(
    grid: Grid,
    tier: NDArray[np.uint8],
    outside: NDArray[np.bool_],
    relief: NDArray[np.uint8],
    labels: Sequence[Label],
    distance_unit: str = "km",
) -> Picture:
    """Return the map of one list, cut to the asked area.

    tier, outside, relief : shape (rows, cols) of the grid; distance_unit : 'km' or 'mi', named first
    """
    shown = np.where(outside, np.uint8(OUTSIDE), tier)

    def paint(rows: slice, cols: slice, px: int) -> tuple[NDArray[np.uint8], list[tuple[int, float, float]]]:
        small = shown[rows, cols]
        return painted_tiers(small, relief[rows, cols], px), number_places(small, px)

    return still_map(grid, ~outside, paint, labels, distance_unit)


def still_map(
    grid: Grid,
    inside: NDArray[np.bool_],
    paint: Callable[[slice, slice, int], tuple[NDArray[np.uint8], list[tuple[int, float, float]]]],
    labels: Sequence[Label],
    distance_unit: str = "km",
) -> Picture:
    """Return a map cut to the cells inside, with names and a scale bar.

    paint : given rows, columns and pixels a cell it returns the RGB picture of these cells and the numbers
        that stand on it: number, x and y in pixels
    """
    rows, cols = _cropped(inside)
    height, width = inside[rows, cols].shape
    css = min(WIDTH_CSS_PX / width, TALLEST_CSS_PX / height)
    skip = max(1, round(1.0 / (css * SHARPNESS)))
    px = max(1, round(css * SHARPNESS * skip))
    painted, numbers = paint(slice(rows.start, rows.stop, skip), slice(cols.start, cols.stop, skip), px)
    metres_a_pixel = grid.cell_m * skip / px
    x_min, y_max = grid.x_min + cols.start * grid.cell_m, grid.y_max - rows.start * grid.cell_m
    points = [
        (label, (label.x - x_min) / metres_a_pixel, (y_max - label.y) / metres_a_pixel) for label in labels
    ]
    png = _drawn(painted, numbers, points, metres_a_pixel, distance_unit)
    return Picture(png, round(width * css), round(height * css))


def _cropped(inside: NDArray[np.bool_]) -> tuple[slice, slice]:
    """Return the rows and columns that hold the asked area, with a margin."""
    if not inside.any():
        return slice(0, inside.shape[0]), slice(0, inside.shape[1])
    found = []
    for axis in (1, 0):
        used = np.flatnonzero(inside.any(axis=axis))
        stop = int(used[-1]) + 1 + CROP_MARGIN_CELLS
        found.append(
            slice(max(0, int(used[0]) - CROP_MARGIN_CELLS), min(stop, inside.shape[0 if axis else 1]))
        )
    return found[0], found[1]


def mast_labels(coverage: Coverage, grid: Grid | None = None) -> list[Label]:
    """Return the masts in a result's transmitters.csv, in a grid's CRS; none without the file."""
    stations = coverage.folder / "transmitters.csv"
    if not stations.is_file():
        return []
    rows = pd.read_csv(stations, dtype={"mast": str}).drop_duplicates("mast")
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", (grid or coverage.grid).crs, always_xy=True)
    x, y = to_grid.transform(rows["longitude_deg"].to_numpy(), rows["latitude_deg"].to_numpy())
    places = zip(rows["mast"], x, y, strict=True)
    return [Label(str(name), float(east), float(north), is_mast=True) for name, east, north in places]


class _Room:
    """Remembers which boxes of the picture are taken."""

    def __init__(self, renderer: Any, width: float, height: float) -> None:
        self.renderer = renderer
        self.width, self.height = width, height
        self.boxes: list[Any] = []

    def takes(self, artist: Any) -> bool:
        """Keep an artist that lies inside and touches no other; remove any other. Return whether it stays."""
        box = artist.get_window_extent(self.renderer).padded(PLATE_PAD * SHARPNESS)
        inside = box.x0 >= 0 and box.y0 >= 0 and box.x1 <= self.width and box.y1 <= self.height
        if not inside or any(box.overlaps(other) for other in self.boxes):
            artist.remove()
            return False
        self.boxes.append(box)
        return True


def _drawn(
    painted: NDArray[np.uint8],
    numbers: list[tuple[int, float, float]],
    points: list[tuple[Label, float, float]],
    metres_a_pixel: float,
    distance_unit: str,
) -> bytes:
    """Return the PNG with everything drawn on it; one data unit is one pixel."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    height, width = painted.shape[:2]
    dpi = 96 * SHARPNESS
    figure = Figure(figsize=(width / dpi, height / dpi), dpi=dpi)
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.imshow(painted, interpolation="nearest", extent=(0, width, height, 0))
    axes.set_axis_off()
    axes.set(xlim=(0, width), ylim=(height, 0))
    room = _Room(canvas.get_renderer(), width, height)
    _add_scale(axes, room, metres_a_pixel, distance_unit)
    _add_labels(axes, room, points)
    _add_numbers(axes, room, numbers)
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=dpi, metadata={"Software": None})
    return buffer.getvalue()


def _plate(**changes: Any) -> dict[str, Any]:
    return {"boxstyle": "round,pad=0.3", "facecolor": PAPER, "edgecolor": "none", "alpha": 0.92} | changes


def _add_labels(axes: Any, room: _Room, points: list[tuple[Label, float, float]]) -> None:
    """Write numbered points, then masts, then places where there is room."""
    for label, x, y in reversed(points):  # the first one on top
        if label.is_point:
            ring = _plate(boxstyle="circle,pad=0.25", edgecolor=INK, linewidth=1.2, alpha=1.0)
            text = axes.text(
                x, y, label.name, fontsize=LEGEND_PT - 1.5, weight="bold", color=INK, ha="center",
                va="center", bbox=ring, zorder=6,
            )  # fmt: skip
            room.boxes.append(text.get_window_extent(room.renderer).padded(PLATE_PAD * SHARPNESS))
    masts = [point for point in points if point[0].is_mast]
    for label, x, y in masts:
        if 0 <= x <= room.width and 0 <= y <= room.height:
            axes.plot(x, y, marker="^", markersize=8, color=INK, markeredgecolor=PAPER, markeredgewidth=1.2)
            _place(axes, room, label.name, x, y, "bold")
    left = round(room.width * room.height / SHARPNESS**2 / PLACE_EACH_CSS_PX)
    for label, x, y in points:
        if not label.is_mast and not label.is_point and left > 0:
            left -= _place(axes, room, label.name, x, y, "normal", off=0)


def _place(
    axes: Any, room: _Room, name: str, x: float, y: float, weight: str, off: float = 11.0 * SHARPNESS
) -> bool:
    """Write a name beside its point on the first side with room; return whether there was one."""
    for dx, dy, ha, va in (
        (0, off, "center", "top" if off else "center"),
        (0, -off, "center", "bottom"),
        (off, 0, "left", "center"),
        (-off, 0, "right", "center"),
    ):
        text = axes.text(
            x + dx, y + dy, name, fontsize=LEGEND_PT - 1.0, weight=weight, color=INK, ha=ha, va=va,
            bbox=_plate(), parse_math=False,
        )  # fmt: skip
        if room.takes(text):
            return True
    return False


def _add_numbers(axes: Any, room: _Room, numbers: list[tuple[int, float, float]]) -> None:
    from matplotlib.patheffects import withStroke

    for number, x, y in numbers:
        look = palette.tier_look(number)
        plate = {"bbox": _plate(boxstyle="square,pad=0.18")} if number == TIER_NOT_PROMISED else {}
        text = axes.text(
            x, y, str(number), fontsize=NUMBER_PT, weight="bold", color=look.ink, ha="center", va="center",
            **plate,
        )  # fmt: skip
        if not plate:
            text.set_path_effects([withStroke(linewidth=1.5, foreground=look.painted)])
        room.takes(text)


def _add_scale(axes: Any, room: _Room, metres_a_pixel: float, distance_unit: str) -> None:
    """Draw a bar of a round length in the lower right corner."""
    longest_m = SCALE_SHARE * room.width * metres_a_pixel
    unit_m = 1000.0 * (KM_PER_MILE if distance_unit == "mi" else 1.0)
    length = round_length(longest_m / unit_m)
    metres = length * unit_m
    km, miles = metres / 1000.0, metres / 1000.0 / KM_PER_MILE
    two_figures = float(f"{km:.2g}"), float(f"{miles:.2g}")
    words = [f"{as_given(two_figures[0])} km", f"{as_given(two_figures[1])} mi"]
    first, second = reversed(words) if distance_unit == "mi" else words
    bar = metres / metres_a_pixel
    edge = 14 * SHARPNESS
    x, y = room.width - edge - bar / 2.0, room.height - edge
    label = axes.text(
        x, y - 2 * SHARPNESS, f"{first} ({second})", fontsize=LEGEND_PT - 1.5, color=INK,
        ha="center", va="bottom", bbox=_plate(boxstyle="square,pad=0.7"),
    )  # fmt: skip
    axes.plot([x - bar / 2, x + bar / 2], [y, y], color=PAPER, linewidth=4.5, solid_capstyle="butt", zorder=4)
    axes.plot([x - bar / 2, x + bar / 2], [y, y], color=INK, linewidth=2.0, solid_capstyle="butt", zorder=4)
    room.takes(label)


def round_length(longest: float) -> float:
    """Return the greatest of 1, 2, 5 times a power of ten that is not above longest."""
    power = 10.0 ** np.floor(np.log10(longest))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= longest * (1.0 + 1e-9)))
