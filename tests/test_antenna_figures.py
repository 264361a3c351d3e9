"""What docs/antennas.md says of how far an antenna's reception can be off, by what stands in the way."""

import math
import re
from dataclasses import replace
from pathlib import Path

import pytest

from covermap.reception import ReceptionOptions
from covermap.reception.budget import chain_of, common_sd_db
from covermap.reception.variability import own_spread_db, prediction_sd_db
from covermap.tables import read_prediction_spread, read_tiers

PAGE = (Path(__file__).resolve().parents[1] / "docs" / "antennas.md").read_text("utf-8")
MHZ, CELL_M, CLUTTER_M = 593.0, 100.0, 10.0
TIERS = read_tiers()
OPTIONS = replace(ReceptionOptions(), has_land_cover=True, path_spread_db=read_prediction_spread())
ROWS = {
    "clear": "clear, grazing", "grazing": "clear, grazing", "one_ridge": "one ridge, earth's bulge",
    "earth_bulge": "one ridge, earth's bulge", "two_ridges": "two ridges",
    "many_ridges": "three and more", "scatter": "troposcatter",
}  # fmt: skip


@pytest.mark.parametrize("path_class", ROWS)
@pytest.mark.parametrize(("column", "tier"), [(1, 5), (2, 6), (3, 2)])
def test_the_page_says_what_the_chance_counts_with(path_class, column, tier):
    row = re.search(rf"^\| {ROWS[path_class]} \|(.*)\|$", PAGE, re.MULTILINE)
    cells = [float(cell) for cell in row.group(1).split("|")]
    prediction_db = prediction_sd_db(OPTIONS, path_class)
    own_db = own_spread_db(prediction_db, True, MHZ, CELL_M, TIERS[tier].height_m, CLUTTER_M)
    chain = chain_of(TIERS[tier], MHZ, 6.0, OPTIONS, "single")
    assert cells[0] == pytest.approx(prediction_db)
    found_db = math.hypot(own_db, common_sd_db(TIERS[tier], MHZ, chain, OPTIONS))
    assert cells[column] == pytest.approx(found_db, abs=0.051)
