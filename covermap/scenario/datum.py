"""Shifts a position from an older datum to WGS 84, and says how surely."""

from __future__ import annotations

import warnings as python_warnings

from covermap.scenario.text_table import Row

# Within about 2 m of WGS 84, far below a cell: used as they stand.
SAME_AS_WGS84 = ("", "WGS84", "NAD83", "ETRS89", "GDA94", "GDA2020", "JGD2000", "JGD2011", "SIRGAS2000")
OLDER = {
    "NAD27": "EPSG:4267",
    "ED50": "EPSG:4230",
    "OSGB36": "EPSG:4277",
    "TOKYO": "EPSG:4301",
    "AGD66": "EPSG:4202",
}


def to_wgs84(row: Row, longitude_deg: float, latitude_deg: float, warnings: list[str]) -> tuple[float, float]:
    """Return longitude and latitude in WGS 84, by the row's `datum` (empty: WGS 84).

    Raises InputError if the datum is unknown, or no shift for that place is installed.
    """
    name = row.text("datum").upper().replace(" ", "").replace("-", "").replace("_", "")
    if name in SAME_AS_WGS84:
        return longitude_deg, latitude_deg
    if name not in OLDER:
        known = ", ".join([*(name for name in SAME_AS_WGS84 if name), *OLDER])
        raise row.wrong("datum", f"It must be one of {known}. Correct the cell, or give WGS 84 positions.")
    return _shifted(row, OLDER[name], longitude_deg, latitude_deg, warnings)


def _shifted(
    row: Row, crs: str, longitude_deg: float, latitude_deg: float, warnings: list[str]
) -> tuple[float, float]:
    from pyproj.transformer import AreaOfInterest, TransformerGroup  # slow to import; few files need it

    place = AreaOfInterest(
        longitude_deg - 0.01, latitude_deg - 0.01, longitude_deg + 0.01, latitude_deg + 0.01
    )
    with python_warnings.catch_warnings():
        # a better grid that is not installed: the accuracy that stays is checked and told below
        python_warnings.simplefilter("ignore", UserWarning)
        # No ballpark: PROJ would otherwise take the older datum for WGS 84 without a shift or a word.
        group = TransformerGroup(
            crs, "EPSG:4326", always_xy=True, area_of_interest=place, allow_ballpark=False
        )
    # a negative accuracy is an unknown one
    known = [transformer for transformer in group.transformers if transformer.accuracy >= 0.0]
    if not known:
        raise row.wrong(
            "datum", "No shift from this datum is installed for that place. Give the position in WGS 84."
        )
    if known[0].accuracy > 2.0:
        warnings.append(
            f"{row.where}: shifted from {row.text('datum')} to WGS 84, within {known[0].accuracy:g} m."
        )
    shifted_deg, shifted_latitude_deg = known[0].transform(longitude_deg, latitude_deg)
    return float(shifted_deg), float(shifted_latitude_deg)
