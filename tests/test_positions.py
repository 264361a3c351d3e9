"""One parser of positions: every spelling people use, and one clear error for the rest."""

import pytest

from covermap.errors import InputError
from covermap.scenario.coordinates import read_position

HERE = pytest.approx((44.01, -35.66), abs=1e-6)


@pytest.mark.parametrize(
    "text",
    [
        "44.01, -35.66", "44.01,-35.66", "44.01 -35.66", "44,01 -35,66", "44,01, -35,66", "44,01,-35,66",
        "44.01;-35.66", "44,01; -35,66", "N44.01 W35.66", "N 44.01, W 35.66", "44.01N 35.66W",
        "44.01 N, 35.66 W",
        "W35.66 N44.01", "44,01N 35,66W", "44 00 36 N 35 39 36 W", "44°00'36\"N 35°39'36\"W",
        "44-00-36 N, 35-39-36 W",
        "N44°00'36\" W35°39'36\"", "44°0.6'N 35°39.6'W", "44.01° N 35.66° W", "44.01/-35.66",
        "44.01 \u221235.66",
        "44 00 36, -35 39 36", "44:00:36N 35:39:36W",
    ],
)  # fmt: skip
def test_spellings_of_one_position(text):
    assert read_position(text, "--at") == HERE


@pytest.mark.parametrize(
    "text", ["", "44.01", "north", "91, 0", "44.01, 400", "44 70 00 N 35 39 36 W", "N44 S35"]
)
def test_no_position_is_one_clear_error(text):
    with pytest.raises(InputError, match="--at: found"):
        read_position(text, "--at")
