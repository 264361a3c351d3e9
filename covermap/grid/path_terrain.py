"""What paths ask of a terrain."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray


class PathTerrain(Protocol):
    """Ground at points, and profiles along radials; places in WGS 84 degrees. NaN is unknown."""

    def __hash__(self) -> int:
        """Return a hash: a terrain never changes, so what was asked of it once may be kept."""
        ...

    def ground_m(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.float64]:
        """Return the height of bare ground at points, in m above sea level."""
        ...

    def sample_profiles(
        self,
        knot_longitude_deg: NDArray[np.float64],
        knot_latitude_deg: NDArray[np.float64],
        steps_per_knot: int,
        ground_out: NDArray[np.float64],
        clutter_out: NDArray[np.float32],
        zone_out: NDArray[np.uint8],
    ) -> None:
        """Write ground, clutter height [m] and radio zone along radials given by knots (R, K)."""
        ...
