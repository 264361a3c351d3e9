"""Reads the table of how far a prediction is off by what stands in the way of the path."""

from __future__ import annotations

from pathlib import Path

from covermap.constants import BANDS
from covermap.errors import InputError
from covermap.propagation.ridges import PATH_CLASSES
from covermap.tables.user_table import read_table_rows

ANY_BAND = "any"
ANY_MODEL = "prediction_spread"
OF_MODEL = {"itm": "prediction_spread_itm"}
COLUMNS = ("path_class", "band", "sigma_db", "sigma_without_land_cover_db")
LEAST_DB, MOST_DB = 0.5, 30.0


def read_prediction_spread(
    path: Path | str | None = None, model: str = ""
) -> dict[tuple[str, str], tuple[float, float]]:
    """Return (path class, band) -> standard deviation of a cell's mean with land cover, and without. [dB]

    path : the user's own table; else the built-in one of the model, of those that have one, or P.1812's
    A row of one band goes before the row of all bands ("any").
    Raises InputError if a cell is wrong, a row stands twice, or a class has no figure for a band.
    """
    found: dict[tuple[str, str], tuple[float, float]] = {}
    rows = read_table_rows(OF_MODEL.get(model, ANY_MODEL), None if path is None else Path(path), COLUMNS)
    for row in rows:
        key = row.text("path_class"), row.text("band")
        if key[0] not in PATH_CLASSES or key[1] not in (*BANDS, ANY_BAND):
            row.faults.sentences.append(
                f'{row.where}: found path_class "{key[0]}", band "{key[1]}". Classes are '
                f"{', '.join(PATH_CLASSES)}; bands are {', '.join(BANDS)} and {ANY_BAND}. Correct the row."
            )
        elif key in found:
            row.faults.sentences.append(
                f"{row.where}: found a second row for {key[0]}, {key[1]}. Remove one of the two."
            )
        found[key] = (
            row.number("sigma_db", LEAST_DB, MOST_DB),
            row.number("sigma_without_land_cover_db", LEAST_DB, MOST_DB),
        )
    rows[0].faults.tell()
    wanted = [(kind, band) for kind in PATH_CLASSES for band in BANDS]
    missing = [key for key in wanted if key not in found and (key[0], ANY_BAND) not in found]
    if missing:
        where = rows[0].where.rsplit(",", 1)[0]
        raise InputError(
            f"{where}: found no row for {', '.join(' '.join(key) for key in missing)}. Add a row for each, "
            f'or one a class with the band "{ANY_BAND}".'
        )
    return {key: found.get(key) or found[key[0], ANY_BAND] for key in wanted}
