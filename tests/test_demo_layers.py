"""The demo's layers open in older programs: GeoPackage 1.2, one kind of geometry each."""

import sqlite3
from pathlib import Path

import pytest

DEMO = Path(__file__).resolve().parents[1] / "data_demo"


@pytest.mark.parametrize(
    ("name", "kind"),
    [("area", "MULTIPOLYGON"), ("neighbourhoods", "MULTIPOLYGON"), ("homes", "POINT"), ("places", "POINT")],
)
def test_layers_are_geopackage_1_2(name, kind):
    with sqlite3.connect(DEMO / f"{name}.gpkg") as book:
        version = book.execute("pragma user_version").fetchone()[0]
        kinds = book.execute("select geometry_type_name from gpkg_geometry_columns").fetchall()
    assert version == 10200  # GeoPackage 1.2, requirement 2
    assert kinds == [(kind,)]
