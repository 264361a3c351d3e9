"""The picture of a shortlist: where more than a rooftop antenna is needed, and the hilltops by rank."""

from __future__ import annotations

import numpy as np
import pyproj
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED
from covermap.planning.relay_shortlist import RelayShortlist
from covermap.reports.brief.picture import Label, Picture, mast_labels, still_map
from covermap.result.coverage import Coverage
from covermap.terrain import relief_grey
from covermap.wording import palette

ROOFTOP = 5
FILL = palette.TIERS[6].fill  # as dark as what needs most
OPACITY = 0.45
PAPER = 255.0


def relay_picture(found: RelayShortlist, coverage: Coverage, distance_unit: str = "km") -> Picture:
    """Return the map of the asked area with every hilltop that is listed."""
    grid = coverage.grid
    inside = coverage.inside_area(grid.whole)
    relief = relief_grey(coverage.read("ground"), grid.cell_m)
    tier = coverage.read(f"{found.list_name}/tier")
    more = (tier > ROOFTOP) & (tier <= TIER_NOT_PROMISED)

    def paint(rows: slice, cols: slice, px: int) -> tuple[NDArray[np.uint8], list[tuple[int, float, float]]]:
        grey = np.repeat(relief[rows, cols, None].astype(float), 3, axis=2)
        chosen = more[rows, cols]
        grey[chosen] = np.array(palette.rgb(FILL)) * OPACITY + grey[chosen] * (1.0 - OPACITY)
        grey[~inside[rows, cols]] = PAPER
        return grey.round().astype(np.uint8).repeat(px, axis=0).repeat(px, axis=1), []

    return still_map(grid, inside, paint, [*_labels(found, coverage), *mast_labels(coverage)], distance_unit)


def fill_in_key() -> str:
    """Return the fill as the picture shows it over flat ground."""
    flat = palette.RELIEF_FLAT_GREY * (1.0 - OPACITY)
    return "#{:02X}{:02X}{:02X}".format(*(round(part * OPACITY + flat) for part in palette.rgb(FILL)))


def _labels(found: RelayShortlist, coverage: Coverage) -> list[Label]:
    if not len(found.sites):
        return []
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", coverage.grid.crs, always_xy=True)
    x, y = to_grid.transform(found.sites["longitude_deg"].to_numpy(), found.sites["latitude_deg"].to_numpy())
    places = zip(found.sites["rank"], x, y, strict=True)
    return [Label(str(rank), float(east), float(north), is_point=True) for rank, east, north in places]
