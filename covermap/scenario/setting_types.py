"""What the keys of a scenario file may hold: paths, positions, and sections that know all their keys."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import Annotated

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
)
from pydantic_core import PydanticCustomError

from covermap.tables.plain_text import PLAIN_RIGHT, is_plain, with_escapes
from covermap.tables.text_file import kind_of


def _absolute(path: Path, info: ValidationInfo) -> Path:
    """Return the path made absolute against the scenario's folder."""
    folder = (info.context or {}).get("folder", Path.cwd())
    if str(path).startswith("/vsi"):
        return path
    with contextlib.suppress(RuntimeError):  # "~name" without such a user is a file's own name
        path = path.expanduser()
    return Path(os.path.realpath(Path(folder, path)))  # unlike resolve() not upset by links in a circle


def _existing(path: Path, info: ValidationInfo) -> Path:
    """Return the absolute path of an input, which must exist (GDAL's /vsi paths are left to GDAL)."""
    absolute = _absolute(path, info)
    if str(absolute).startswith("/vsi"):
        return absolute
    try:
        kind = kind_of(os.stat(absolute))
    except OSError as error:
        reason = "" if isinstance(error, FileNotFoundError) else f" ({error.strerror})"
        raise PydanticCustomError(
            "missing_file",
            "It must be a file that exists; {absolute} does not{reason}. Correct the path (it is relative to "
            "the scenario file) or put the file there.",
            {"absolute": str(absolute)[:300], "reason": reason},
        ) from error
    if kind not in ("", "a folder"):  # some layers and rasters are folders
        raise PydanticCustomError(
            "no_file",
            "It must be a file; {absolute} is {kind}. Write its content to a file.",
            {"absolute": str(absolute), "kind": kind},
        )
    return absolute


def _rasters(value: object, info: ValidationInfo) -> object:
    """Return the paths of rasters: a folder is all rasters in it, a pattern (* ? [) all files it fits."""
    found: list[object] = []
    for one in [value] if isinstance(value, str | Path) else value if isinstance(value, list) else []:
        path = _absolute(Path(one), info) if isinstance(one, str | Path) else one
        if isinstance(path, Path) and path.is_dir():
            inside = sorted(file for file in path.iterdir() if file.suffix.lower() in RASTER_SUFFIXES)
            found += inside or _no_rasters(str(one), "a folder without a raster in it")
        elif isinstance(path, Path) and set("*?[") & set(path.name) and not path.exists():
            fitting = sorted(path.parent.glob(path.name)) if path.parent.is_dir() else []
            found += fitting or _no_rasters(str(one), "a pattern that no file fits")
        else:
            found.append(one)
    return found if isinstance(value, str | Path | list) else value


def _no_rasters(text: str, what: str) -> list[object]:
    raise PydanticCustomError(
        "no_rasters",
        "It is {what}. Name rasters, a folder of them, or a pattern such as tiles/*.tif.",
        {"what": what, "found": f'"{text}"'},
    )


RASTER_SUFFIXES = (
    ".tif", ".tiff", ".vrt", ".hgt", ".img", ".asc", ".bil", ".dem", ".dt0", ".dt1", ".dt2", ".flt", ".grd",
)  # fmt: skip
InputPath = Annotated[Path, AfterValidator(_existing)]
OutputPath = Annotated[Path, AfterValidator(_absolute)]
InputPaths = Annotated[list[InputPath], BeforeValidator(_rasters)]
Longitude = Annotated[float, Field(ge=-180.0, le=180.0)]
Latitude = Annotated[float, Field(ge=-85.0, le=85.0)]


class Section(BaseModel):
    """A table of the scenario file: unknown keys are errors, values do not change, text can be written."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @field_validator("*")
    @classmethod
    def _check_text(cls, value: object) -> object:
        for text in value if isinstance(value, list) else [value]:
            if isinstance(text, str) and not is_plain(text):
                raise wrong("not_plain", PLAIN_RIGHT, f'"{with_escapes(text)}"')
        return value


def wrong(kind: str, sentence: str, found: str = "") -> PydanticCustomError:
    """Return an error whose sentence says what would be right and what to do next."""
    return PydanticCustomError(kind, sentence, {"found": found})
