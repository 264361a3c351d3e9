"""Relief shading: the greys under the classes of a map."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

# With greys inside these limits no slope can change a class of the palette painted over them at 80 %.
SHADOW_GREY, FLAT_GREY, LIT_GREY = 176, 226, 250
LIGHT_AZIMUTH_DEG, LIGHT_ELEVATION_DEG = 315.0, 45.0  # from the north-west: common practice, no source
EXAGGERATION = 2.0  # heights are drawn twice as steep: a drawing's choice, 100 m cells look flat otherwise


def relief_grey(ground_m: ArrayLike, cell_m: float, exaggeration: float = EXAGGERATION) -> NDArray[np.uint8]:
    """Return the grey of each cell of a shaded relief.

    Parameters
    ----------
    ground_m : array_like, shape (rows, cols)
        Heights, row 0 in the north; NaN unknown, drawn as flat. [m]
    cell_m : float
        Length of a cell. [m]
    exaggeration : float
        Factor on the heights.

    Returns
    -------
    ndarray of uint8, shape (rows, cols)
        176 in full shadow, 226 on level ground, 250 in full light.

    The light falls on a slope as the cosine of the angle between the light and the slope's normal
    (Lambert's law). Slopes are central differences, one-sided at the edge.
    """
    # The edge is repeated so that its slope is the one-sided difference; run_m and rise_m are one cell there,
    # not two.
    heights = np.pad(np.asarray(ground_m, dtype=np.float64) * exaggeration, 1, mode="edge")
    run_m = np.full(heights.shape[1] - 2, 2.0 * cell_m)
    run_m[[0, -1]] = cell_m
    rise_m = np.full(heights.shape[0] - 2, 2.0 * cell_m)
    rise_m[[0, -1]] = cell_m
    east = (heights[1:-1, 2:] - heights[1:-1, :-2]) / run_m
    north = (heights[:-2, 1:-1] - heights[2:, 1:-1]) / rise_m[:, None]
    flat = math.sin(math.radians(LIGHT_ELEVATION_DEG))
    level = math.cos(math.radians(LIGHT_ELEVATION_DEG))
    towards_east = level * math.sin(math.radians(LIGHT_AZIMUTH_DEG))
    towards_north = level * math.cos(math.radians(LIGHT_AZIMUTH_DEG))
    light = (flat - east * towards_east - north * towards_north) / np.sqrt(1.0 + east**2 + north**2)
    light = np.where(np.isnan(light), flat, np.maximum(light, 0.0))
    grey = np.interp(light, [0.0, flat, 1.0], [SHADOW_GREY, FLAT_GREY, LIT_GREY])
    return np.round(grey).astype(np.uint8)
