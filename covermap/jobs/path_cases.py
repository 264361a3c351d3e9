"""Path losses of single profiles from files, so that the models can be checked from outside."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from covermap.errors import InputError
from covermap.propagation import PathLoss, Profile, field_from_loss, itm_loss, p1812_loss
from covermap.propagation.free_space import free_space_loss_db

RADIO = ("frequency_mhz", "tx_height_m", "rx_height_m")  # every case needs them
# model -> arguments it must have, arguments it may have; a row's other columns are for other models
ARGUMENTS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "p1812": (
        (*RADIO, "latitude_deg"),
        ("time_percent", "location_percent", "location_sd_db", "polarization", "n0", "dn", "tx_coast_km",
         "rx_coast_km"),
    ),
    "itm": (
        (*RADIO, "variability_mode", "climate", "n0", "permittivity", "conductivity_s_m", "polarization"),
        ("time_percent", "location_percent", "situation_percent"),
    ),
    "free_space": (RADIO, ()),
}  # fmt: skip
WORDS = ("polarization",)
WHOLE = ("variability_mode",)
WORD_OR_WHOLE = ("climate",)
# our column -> names it is also read under
PROFILE_COLUMNS = {
    "distance_km": ("distance_km", "d_km"),
    "ground_m": ("ground_m", "h_m_amsl"),
    "clutter_m": ("clutter_m", "clutter_height_m"),
    "zone": ("zone", "radio_zone"),
}


@dataclass(frozen=True)
class CaseResult:
    """The loss of one case, in dB, and the field of 1 kW ERP, in dB(uV/m)."""

    case_id: str
    path_loss: PathLoss
    field_dbuvm_1kw: float


@dataclass(frozen=True)
class CaseResults:
    """All good rows, and a sentence for each bad one."""

    results: tuple[CaseResult, ...]
    faults: tuple[str, ...]

    def as_csv(self) -> str:
        """Return case_id, loss_db, field_dbuvm_1kw, warnings as CSV text."""
        lines = ["case_id,loss_db,field_dbuvm_1kw,warnings"]
        for result in self.results:
            warnings = "; ".join(result.path_loss.warnings).replace('"', "'")
            lines.append(
                f"{result.case_id},{result.path_loss.loss_db!r},{result.field_dbuvm_1kw!r},"
                + (f'"{warnings}"' if warnings else "")
            )
        return "\n".join(lines) + "\n"

    def as_json(self) -> str:
        """Return a list with the named intermediate values of each case as JSON text."""
        rows = [
            {
                "case_id": result.case_id,
                "loss_db": result.path_loss.loss_db,
                "field_dbuvm_1kw": result.field_dbuvm_1kw,
                "terms": result.path_loss.terms,
                "warnings": list(result.path_loss.warnings),
            }
            for result in self.results
        ]
        return json.dumps(rows, indent=1) + "\n"


def path_losses(cases: Path, profiles: Path) -> CaseResults:
    """Return the loss of each row of a case file.

    Raises InputError when the file cannot be read, or when not one row is good.
    """
    rows = _read_csv(cases)
    if not rows:
        raise InputError(f"{cases.name} has no rows. A case needs at least case_id, profile and model.")
    results: list[CaseResult] = []
    faults: list[str] = []
    for line, row in enumerate(rows, start=2):
        try:
            results.append(_run_case(row, profiles))
        except InputError as error:
            faults.append(f"{cases.name}, line {line} (case '{row.get('case_id', '')}'): {error}")
    if not results:
        raise InputError("No case is good:\n" + "\n".join(faults[:20]))
    return CaseResults(tuple(results), tuple(faults))


def _run_case(row: dict[str, str], profiles: Path) -> CaseResult:
    models: dict[str, Callable[[Profile, dict[str, Any]], PathLoss]] = {
        "p1812": lambda profile, arguments: p1812_loss(profile, **arguments),
        "itm": lambda profile, arguments: itm_loss(profile, **arguments),
        "free_space": _free_space,
    }
    model = row.get("model", "").strip() or "p1812"
    if model not in models:
        raise InputError(f'model is "{model}"; it must be one of {", ".join(models)}.')
    arguments = _arguments(row, model)
    profile = read_profile(profiles, row.get("profile", "").strip())
    path_loss = models[model](profile, arguments)
    field_dbuvm = field_from_loss(path_loss.loss_db, 1.0, arguments["frequency_mhz"])
    return CaseResult(row.get("case_id", "").strip(), path_loss, float(field_dbuvm))


def _free_space(profile: Profile, arguments: dict[str, Any]) -> PathLoss:
    tx_m = profile.ground_m[0] + arguments["tx_height_m"]
    rx_m = profile.ground_m[-1] + arguments["rx_height_m"]
    frequency_ghz = arguments["frequency_mhz"] / 1000.0
    loss_db = float(free_space_loss_db(profile.distance_km[-1], tx_m, rx_m, frequency_ghz))
    return PathLoss(loss_db=loss_db, terms={"Lbfs_dB": loss_db}, warnings=())


def _arguments(row: dict[str, str], model: str) -> dict[str, Any]:
    needed, possible = ARGUMENTS[model]
    filled = {name: (row.get(name) or "").strip() for name in needed + possible}
    missing = [name for name in needed if not filled[name]]
    if missing:
        raise InputError(f'{", ".join(missing)} is empty; a case of model "{model}" needs it.')
    return {name: _argument(name, text) for name, text in filled.items() if text}


def _argument(name: str, text: str) -> float | int | str:
    if name in WORDS:
        return text
    try:
        number = float(text)
    except ValueError as error:
        if name in WORD_OR_WHOLE:
            return text
        raise InputError(f'{name} is "{text}", which is not a number.') from error
    if name not in WHOLE + WORD_OR_WHOLE:
        return number
    if number != round(number):
        raise InputError(f'{name} is "{text}"; it must be a whole number.')
    return int(number)


def read_profile(folder: Path, stem: str) -> Profile:
    """Return the profile in folder/stem.csv.

    Columns distance_km, ground_m and, where known, clutter_m and zone; d_km, h_m_amsl, clutter_height_m
    and radio_zone are read too. Raises InputError when the file or a column is missing.
    """
    path = folder / f"{stem}.csv"
    if not stem or not path.is_file():
        raise InputError(f"profile '{stem}' is not in {folder.name}; expected a file {stem}.csv there.")
    rows = _read_csv(path)
    columns: dict[str, np.ndarray] = {}
    for name, aliases in PROFILE_COLUMNS.items():
        found = next((alias for alias in aliases if rows and alias in rows[0]), None)
        if found is None and name in ("distance_km", "ground_m"):
            raise InputError(f"{path.name} has no column {name}.")
        if found is not None:
            columns[name] = _column(rows, found, path)
    return Profile(**columns)


def _column(rows: list[dict[str, str]], name: str, path: Path) -> np.ndarray:
    try:
        return np.array([float(row[name]) for row in rows])
    except (TypeError, ValueError) as error:
        raise InputError(f"{path.name}, column {name}: a value is not a number ({error}).") from error


def _read_csv(path: Path) -> list[dict[str, str]]:
    try:
        with open(path, newline="", encoding="utf-8-sig") as handle:
            return list(csv.DictReader(handle))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"{path} cannot be read as CSV text: {error}. Give an existing UTF-8 file."
        ) from error
