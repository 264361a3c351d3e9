"""Reads the scenario file, and turns what is wrong with it into one sentence for its author."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from covermap.errors import Faults, InputError
from covermap.scenario.settings import Settings
from covermap.scenario.suggestions import nearest
from covermap.scenario.toml_file import read_toml

TYPE_WORDS = {
    "float_parsing": "a number", "float_type": "a number", "int_parsing": "a whole number",
    "int_type": "a whole number", "int_from_float": "a whole number", "string_type": "text in quotes",
    "bool_parsing": "true or false", "bool_type": "true or false", "list_type": "a list in [ ]",
    "tuple_type": "a list of two numbers in [ ]", "path_type": "a path in quotes",
    "finite_number": "a finite number",
    "model_type": "a table with keys of its own", "model_attributes_type": "a table with keys of its own",
    "dict_type": "named tables, as in [wanted.main]",
}  # fmt: skip
LIMITS = ("ge", "gt", "le", "lt")
EITHER_WORDS = {
    "prediction_error_db": '"auto" or a number from 0.5 to 20',
    "field_rasters": '"auto", true or false',
    "services_count": "true or false",
}


def read_settings(path: Path) -> Settings:
    """Return the checked settings of a scenario file, paths made absolute.

    Raises InputError if the file cannot be read, is not TOML, or holds a wrong key or value.
    """
    return settings_of(path, _values(path))


def settings_of(path: Path, values: dict[str, Any]) -> Settings:
    """Return the checked settings of values as a scenario file holds them; see read_settings."""
    try:
        return Settings.model_validate(values, context={"folder": path.resolve().parent})
    except ValidationError as error:
        raise InputError(_in_words(path.name, error.errors())) from error


def _values(path: Path) -> dict[str, Any]:
    if not os.path.lexists(path):
        raise InputError(
            f"There is no file {str(path)[:300]}. Give the path of a scenario file; "
            "`covermap new DIR` writes one."
        )
    return read_toml(path, "Text stands in quotes, lists in [ ], numbers have a point. Correct that line.")


def _in_words(file: str, errors: list[ErrorDetails]) -> str:
    """Return what is wrong as sentences, unknown keys first: they explain what seems to be missing."""
    known_first = sorted(errors, key=lambda error: error["type"] != "extra_forbidden")
    by_key: dict[tuple[int | str, ...], str] = {}
    for error in known_first:  # a value that may be of two kinds is wrong twice
        by_key.setdefault(_key_of(error["loc"]), _one_error(file, error))
    faults = Faults()
    faults.sentences += by_key.values()
    return faults.in_words()


def _key_of(location: tuple[int | str, ...]) -> tuple[int | str, ...]:
    """Return the part of an error's place that names the key: table and key, or [wanted.NAME] and key.

    Of a list of tables each has its own keys.
    """
    if _listed(location):
        return location[:4]
    return location[:3] if location[:1] == ("wanted",) else location[:2]


def _listed(location: tuple[int | str, ...]) -> bool:
    """Return whether a place stands in a list of tables: [map] context."""
    return len(location) > 2 and isinstance(location[2], int) and _model_at(location[:3]) is not None


def _one_error(file: str, error: ErrorDetails) -> str:
    table, key = _place(error["loc"])
    where = f"{file}, {table}" if table else file
    if error["type"] == "extra_forbidden":
        return f"{where}: {_unknown_key(error['loc'])}"
    if error["type"] == "missing":
        if isinstance(error["loc"][-1], int):
            return (
                f"{where}, {key}: found a shorter list. It must be {TYPE_WORDS['tuple_type']}. Complete it."
            )
        top = len(error["loc"]) == 1
        where, what = (file, f"the table [{error['loc'][0]}]") if top else (where, f'the key "{key}"')
        return f"{where}: {what} is missing. Add it; `covermap new DIR` writes a scenario with every key."
    where = f"{where}, {key}" if key and key != "[key]" else where
    if key in EITHER_WORDS:
        return f"{where}: found {_shown(error['input'])}. It must be {EITHER_WORDS[key]}. Change the value."
    return f"{where}: {_wrong_value(error)}"


def _place(location: tuple[int | str, ...]) -> tuple[str, str]:
    """Return table and key of an error, '[map], context 2' and 'draw'; of a union only the key counts."""
    parts = [str(part) for part in location]
    depth = 2 if parts[:1] == ["wanted"] else 1
    if len(parts) <= depth and parts[0] not in ("name", "output", "wanted"):
        model = _model_at(location)
        if model is not None and model is not Settings and len(parts) == depth:
            return f"[{'.'.join(parts)}]", ""
    if len(parts) == 1:
        return "", parts[0]
    if _listed(location):
        return f"[{parts[0]}], {parts[1]} {int(parts[2]) + 1}", "".join(parts[3:4])
    return f"[{'.'.join(parts[:depth])}]", parts[depth] if len(parts) > depth else ""


def _wrong_value(error: ErrorDetails) -> str:
    context: Mapping[str, Any] = error.get("ctx", {})
    found = context.get("found") or _shown(error["input"])
    kind = error["type"]
    if kind in TYPE_WORDS:
        return f"found {found}. It must be {TYPE_WORDS[kind]}. Change the value."
    if kind == "literal_error":
        words = _choices(context["expected"])
        near = nearest(str(error["input"]), words)
        return f"found {found}.{near} It must be one of {', '.join(words)}. Change the value."
    if kind.startswith(("greater_than", "less_than")):
        return f"found {found}. It must be {_bounds(error)}. Change the value."
    if kind == "string_pattern_mismatch":
        return f'found {found}. It must be "auto" or an EPSG code such as "EPSG:32625". Change the value.'
    if kind == "value_error":
        return (
            f"found {found}. It cannot be a path ({error['msg'].removeprefix('Value error, ')}). Correct it."
        )
    if kind == "too_short":
        return (
            f"found {found}. It must name at least one file. Add it; "
            "`covermap terrain SCENARIO` fetches open elevation and writes it there."
        )
    return f"found {found}. {error['msg']}"


def _bounds(error: ErrorDetails) -> str:
    """Return the numbers a key may have, as "from 5 to 10000"; one end where it is no plain key."""
    location = error["loc"]
    model = _model_at(location[:-1])
    field = model.model_fields.get(str(location[-1])) if model else None
    rules = field.metadata if field else []
    limits = {name: getattr(rule, name) for rule in rules for name in LIMITS if hasattr(rule, name)}
    low, high = limits.get("ge", limits.get("gt")), limits.get("le", limits.get("lt"))
    if low is None or high is None:
        return error["msg"].removeprefix("Input should be ")
    return f"{'from' if 'ge' in limits else 'above'} {low:g} to {high:g}"


def _choices(expected: str) -> list[str]:
    return [word.strip().strip("'") for word in expected.replace(" or ", ", ").split(",")]


def _shown(value: object) -> str:
    """Return a value as its author wrote it, shortened."""
    if isinstance(value, bool):
        return str(value).lower()
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 80 else f"{text[:77]}..."


def _unknown_key(location: tuple[int | str, ...]) -> str:
    key = str(location[-1])
    model = _model_at(location[:-1]) or Settings
    keys = list(model.model_fields)
    near = nearest(key, keys)
    next_step = "Correct the key." if near else "Correct or remove it."
    return f'found "{key}", which is not a key.{near} The keys here are {", ".join(keys)}. {next_step}'


def _model_at(location: tuple[int | str, ...]) -> type[BaseModel] | None:
    """Return the model that stands at a place of the scenario file."""
    model: type[BaseModel] = Settings
    for part in location:
        if model is Settings and part == "wanted":
            continue
        if isinstance(part, int):
            continue  # the tables of a list are alike
        field = model.model_fields.get(str(part))
        annotation: object = (field or Settings.model_fields["wanted"]).annotation
        found = _models_in(annotation)
        if not found:
            return None
        model = found[0]
    return model


def _models_in(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models_in(part)]
