"""Where a propagation model begins: closer to the mast free space stands for it."""

import math

from covermap.constants import NEAR_MAST_KM

# Our own: ITU-R P.1812-8 begins at 0.25 km, but free space up to there ends in a jump among trees. Closer
# than this a profile in steps of 50 m holds no clutter that stands clear of both ends.
# docs/decisions/near_the_mast.md
PROFILE_BEGINS_KM = 0.1
_BEGINS_KM = {"p1812": PROFILE_BEGINS_KM, "itm": NEAR_MAST_KM, "free_space": math.inf}


def model_begins_km(model: str) -> float:
    """Return the distance from the mast at which a model begins, in km; infinite for free space."""
    return _BEGINS_KM[model]
