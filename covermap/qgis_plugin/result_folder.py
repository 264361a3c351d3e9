"""Reads what a result folder says of itself, and refuses one of another format. Pure Python."""

import json
from pathlib import Path

RESULT_FORMAT = 2
"""Format of the results this plugin loads, the number run.json has."""

RUN_FILE = "run.json"
PROJECT_FILE = "coverage.qgs"
RASTERS = "rasters"


class ResultError(Exception):
    """The folder holds no result that can be loaded; the text says what to do."""


def read_result(folder):
    """Return the content of run.json of a result folder.

    Raises ResultError if there is none, or its format is not ours; both versions are named.
    """
    folder = Path(folder)
    path = folder / RUN_FILE
    if not path.is_file():
        raise ResultError(
            f"{folder} holds no {RUN_FILE}, so it is no finished result. Choose the folder covermap wrote."
        )
    try:
        run = json.loads(path.read_text(encoding="utf-8"))
        found, writer = run.get("result_format"), run.get("versions", {}).get("covermap", "unknown")
    except (ValueError, AttributeError) as error:
        raise ResultError(f"{path} cannot be read ({error}). Run the prediction again.") from error
    if found != RESULT_FORMAT:
        raise ResultError(
            f"{folder} has result_format {found}, written by covermap {writer}; this plugin reads "
            f"result_format {RESULT_FORMAT}. Make the plugin that fits with that version: "
            "covermap qgis-plugin FILE.zip"
        )
    if not (folder / PROJECT_FILE).is_file():
        raise ResultError(f"{folder} holds no {PROJECT_FILE}. Run the prediction again to write it.")
    return run


def raster_file(folder, name):
    """Return the file of a raster of a result: of a map in parts the virtual one over them."""
    path = Path(folder) / RASTERS / f"{name}.vrt"
    return path if path.is_file() else path.with_suffix(".tif")
