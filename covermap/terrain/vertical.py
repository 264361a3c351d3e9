"""What a raster says about its heights: their unit, and what they are counted from."""

from __future__ import annotations

from pathlib import Path

import pyproj
import rasterio

from covermap.errors import InputError
from covermap.terrain.raster_file import crs_of_wkt

US_SURVEY_FOOT_M = 1200.0 / 3937.0  # definition of 1893, kept in EPSG unit 9003 (from memory)
INTERNATIONAL_FOOT_M = 0.3048  # exact by definition (1959), EPSG unit 9002 (from memory)

_SPELLINGS: dict[float, tuple[str, ...]] = {
    1.0: ("m", "metre", "metres", "meter", "meters"),
    0.1: ("dm", "decimetre", "decimetres", "decimeter", "decimeters"),
    0.01: ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    0.001: ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    1000.0: ("km", "kilometre", "kilometer"),
    INTERNATIONAL_FOOT_M: ("ft", "foot", "feet", "international foot"),
    US_SURVEY_FOOT_M: (
        "us-ft",
        "us ft",
        "ftus",
        "us survey foot",
        "us survey feet",
        "foot us",
        "u.s. survey foot",
    ),
}
_METRES = {spelling: metres for metres, spellings in _SPELLINGS.items() for spelling in spellings}


def unit_in_metres(unit: str) -> float | None:
    """Return how many metres a unit is, None for a unit that is not known."""
    return _METRES.get(unit.strip().lower().replace("_", " "))


def metres_per_unit(
    dataset: rasterio.DatasetReader, path: Path, unit: str | None
) -> tuple[float, tuple[str, ...]]:
    """Return the length of the file's unit of height in m, and warnings.

    The band's own unit counts first, then that of a vertical CRS, then `unit`; without any, metres.
    Raises InputError for a unit that is not known.
    """
    asked = _asked_unit(unit)
    declared = (dataset.units[0] or "").strip()
    if declared:
        own = unit_in_metres(declared)
        if own is None:
            raise InputError(
                f"{path.name}: its unit of height is {declared!r}, which is not known.\n"
                f"  Known are {', '.join(names[0] for names in _SPELLINGS.values())}; "
                "correct the band's unit in the file."
            )
    else:
        own = _vertical_unit(dataset)
    if own is None and asked is None:
        return 1.0, _doubt_metres(dataset, path)
    if own is None:
        return asked or 1.0, ()
    # The two feet differ by 2e-6: whoever writes "ft" for a file in US survey feet means the same.
    if asked is not None and abs(own / asked - 1.0) > 1e-5:
        # A unit the file states is believed before the scenario: elevation_unit speaks for all files at once.
        return own, (
            f"{path.name}: the file says its heights are in {declared or 'the unit of its vertical CRS'}; "
            f'elevation_unit = "{unit}" was not used for it.',
        )
    return own, ()


def vertical_remark(dataset: rasterio.DatasetReader, path: Path) -> tuple[str, ...]:
    """Return what to say about the surface the heights are counted from; no shift is ever made."""
    crs = _crs(dataset)
    if crs is not None and crs.is_geographic and len(crs.axis_info) == 3:
        return (
            f"{path.name}: its CRS {crs.name} counts heights from the ellipsoid, which differs from sea "
            "level by up to 100 m. Heights are taken as they stand; give heights above mean sea level.",
        )
    if crs is not None and crs.is_compound:
        return (
            f"{path.name}: heights are counted from {crs.sub_crs_list[-1].name}; taken as they stand, "
            "as above mean sea level.",
        )
    return ()


def _doubt_metres(dataset: rasterio.DatasetReader, path: Path) -> tuple[str, ...]:
    """Return a warning where x and y are in feet and nothing says in what the heights are."""
    crs = _crs(dataset)
    if crs is None or not crs.is_projected or crs.axis_info[0].unit_conversion_factor == 1.0:
        return ()
    unit = crs.axis_info[0].unit_name
    return (
        f"{path.name}: its CRS {crs.name} counts in {unit}, and nothing says in what its heights are: "
        'taken as metres. Set [terrain] elevation_unit = "ft" if they are feet too, "m" if they are metres.',
    )


def _asked_unit(unit: str | None) -> float | None:
    if unit is None:
        return None
    metres = unit_in_metres(unit)
    if metres is None:
        raise InputError(
            f"[terrain] elevation_unit: found {unit!r}, which is not a known unit.\n"
            f"  Write one of {', '.join(names[0] for names in _SPELLINGS.values())}."
        )
    return metres


def _vertical_unit(dataset: rasterio.DatasetReader) -> float | None:
    crs = _crs(dataset)
    if crs is None or not crs.is_compound:
        return None
    return float(crs.sub_crs_list[-1].axis_info[0].unit_conversion_factor)


def _crs(dataset: rasterio.DatasetReader) -> pyproj.CRS | None:
    return None if dataset.crs is None else crs_of_wkt(dataset.crs.to_wkt())
