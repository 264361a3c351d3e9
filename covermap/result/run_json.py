"""Writes run.json: what went into a result and what came out."""

from __future__ import annotations

import json
import platform
import shutil
from collections.abc import Iterable
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyogrio
import pyproj
import rasterio

import covermap
from covermap.constants import RESULT_FORMAT, TIER_NOT_PROMISED
from covermap.grid.blocks import PHYSICS_VERSION
from covermap.planning.stock import parts_of_tier
from covermap.reception.variability import sigma_summary
from covermap.result.coverage import Coverage, grid_record
from covermap.result.public import public_record
from covermap.result.raster_catalogue import LAYERS, OF_GRID, OF_STATION
from covermap.result.result_folder import DIGESTS, RUN_FILE, relative_names
from covermap.result.run_inputs import input_files, options_of, run_id
from covermap.result.sigma_record import sigma_record
from covermap.result.station_names import station_names
from covermap.result.whole_file import write_text
from covermap.scenario.records import Scenario
from covermap.scenario.sites import site_names
from covermap.wording.cautions import NOT_COUNTED, cautions, trees_sentence

if TYPE_CHECKING:
    from covermap.inputs.calibration import Calibration
    from covermap.inputs.preparation import Preparation
    from covermap.planning.homes import Homes
    from covermap.result.run_counts import RunCounts
    from covermap.scenario.settings import TerrainSettings

MODEL_EDITIONS = {
    "p1812": "ITU-R P.1812-8",
    "itm": "NTIA ITM 1.2.2",
    "curves": "47 CFR 73.699",
    "free_space": "ITU-R P.525",
    "clutter_at_the_terminal": "ITU-R P.2108-1",
    "building_entry": "ITU-R P.2109-2",
    "noise": "ITU-R P.372",
}
LIBRARIES = ("numpy", "numba", "scipy", "geopandas", "pyogrio", "rasterio", "shapely", "pyproj")


def write_run_json(
    output: Path,
    prepared: Preparation,
    counts: RunCounts,
    peak_memory_mb: float | None,
    *,
    public: bool = False,
) -> dict[str, Any]:
    """Write run.json of a result whose rasters are finished; return its content.

    Parameters
    ----------
    output : the result folder
    prepared : covermap.inputs.preparation.Preparation (scenario, grid, tiers, homes,
        reception_options, warnings)
    counts : with computed and read (blocks), stages_s, and compile_s where it was measured
    peak_memory_mb : greatest resident memory of the process; None where the system does not tell it
    public : tell rounded totals of homes only
    """
    output = Path(output)
    scenario: Scenario = prepared.scenario
    run = _what_was_asked(scenario, prepared)
    run |= {
        "blocks": {"computed": counts.computed, "read": counts.read},
        "stages_s": {stage: round(seconds, 2) for stage, seconds in counts.stages_s.items()},
        "compile_s": counts.compile_s,
        "peak_memory_mb": None if peak_memory_mb is None else round(peak_memory_mb, 1),
    }
    coverage = Coverage(output, run)
    run["tier_share_percent"] = {name: tier_share_percent(coverage, name) for name in coverage.lists}
    run["tier_share_percent_at_other_sigma"] = _at_other_sigma(prepared, counts)
    run["files"] = relative_names(output, _rasters_of(coverage, scenario))
    if public:
        run = public_record(run)
    _write(output, run)
    return run


def copy_prediction(coverage: Coverage, folder: Path) -> Coverage:
    """Give a new folder the rasters and the run.json of a result, without what was derived from them."""
    files = (path for name in coverage.raster_names() for path in coverage.files(name))
    names = [path.relative_to(coverage.folder).as_posix() for path in files]
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(coverage.folder / name, folder / name)
    run = {key: value for key, value in coverage.run.items() if key != DIGESTS} | {"files": sorted(names)}
    _write(folder, run)
    return Coverage(folder, run)


def update_run_json(output: Path, changes: dict[str, Any], files: Iterable[Path] = ()) -> dict[str, Any]:
    """Change keys of run.json and add files to its list; return its content.

    A dictionary is merged into the one that is there, a list of warnings is added to it.
    """
    path = Path(output) / RUN_FILE
    run = json.loads(path.read_text(encoding="utf-8"))
    for key, value in changes.items():
        if isinstance(value, dict) and isinstance(run.get(key), dict):
            run[key] |= value
        elif key == "warnings":
            # each warning once, however often outputs are written
            run[key] = list(dict.fromkeys([*run.get(key, []), *value]))
        else:
            run[key] = value
    run["files"] = sorted({*run.get("files", []), *relative_names(Path(output), files)})
    _write(Path(output), run)
    return run


def homes_record(homes: Homes | None, scenario: Scenario) -> dict[str, Any] | None:
    """Return what run.json says about homes; None without homes."""
    if homes is None or scenario.settings.homes is None:
        return None
    return {
        "file": scenario.settings.homes.file.name,
        "year": scenario.settings.homes.year,
        "total": round(homes.total, 3),
        "outside_map": round(homes.outside, 3),
        "features_without_count": homes.features_without_count,
    }


def calibration_record(calibration: Calibration | None) -> dict[str, Any] | None:
    """Return what run.json says of the offsets in use and of which layers hold them; None without."""
    if calibration is None:
        return None
    return {
        "file": calibration.file,
        "readings_as_of": calibration.readings_as_of,
        "points": calibration.points,
        "leave_one_out_db": {"before": calibration.before_db, "after": calibration.after_db},
        "offsets_db": {f"{o.mast}, {o.band}": o.offset_db for o in calibration.offsets},
        "raw_layers": "rasters/field",
        "adjusted_layers": "rasters/field_adjusted and everything of the wanted lists",
    }


def carriers_record(scenario: Scenario) -> dict[str, list[dict[str, str]]]:
    """Return for each service of any list the stations that carry it: id, mast, band and site.

    A site is named after the mast of its first station.
    """
    sites = site_names(scenario.stations)
    return {
        service: [
            {
                "station_id": scenario.stations[index].station_id,
                "mast": scenario.stations[index].mast,
                "band": scenario.stations[index].band,
                "site": sites[index],
            }
            for index in indices
        ]
        for wanted in scenario.wanted
        for service, indices in zip(wanted.services, wanted.transmitters, strict=True)
    }


def tier_share_percent(coverage: Coverage, list_name: str) -> dict[str, float]:
    """Return the share of cells of the asked area in each tier and unknown, in percent; they sum to 100."""
    counts = np.zeros(256, dtype=np.int64)
    for tile in coverage.grid.tiles(1024):
        tier = coverage.read(f"{list_name}/tier", tile)
        counts += np.bincount(tier[coverage.inside_area(tile)], minlength=256)
    return _shares_percent(counts)


def _shares_percent(counts: np.ndarray) -> dict[str, float]:
    """Return the shares of tiers 1 to 8 and unknown from a count a class (256 of them)."""
    total = max(int(counts.sum()), 1)
    known = {str(tier): int(counts[tier]) for tier in range(1, TIER_NOT_PROMISED + 1)}
    # what is left, so that shares sum to 100 whatever codes there are
    known["unknown"] = total - sum(known.values())
    return {name: 100.0 * count / total for name, count in known.items()}


def _at_other_sigma(prepared: Preparation, counts: RunCounts) -> dict[str, Any]:
    """Return the tier shares of the first list at the other default of the prediction error, of a sample."""
    spread = sigma_summary(prepared.reception_options.at_other_default())
    return {
        "list": prepared.scenario.wanted[0].name,
        "sigma_db": round(spread.total_db, 2),
        "cells": int(counts.other_tiers.sum()),
        **_shares_percent(counts.other_tiers),
    }


def _what_was_asked(scenario: Scenario, prepared: Preparation) -> dict[str, Any]:
    """Return the part of the record that is known before anything is computed."""
    settings = scenario.settings
    inputs = input_files(scenario)
    options = options_of(scenario)
    calibration = prepared.calibration
    return {
        "result_format": RESULT_FORMAT,
        "run_id": run_id(inputs, options),
        "name": scenario.name,
        "stations_as_of": scenario.stations_as_of,
        "stations_as_of_oldest": scenario.stations_as_of_oldest,
        "confidence_percent": settings.reception.confidence_percent,
        "grid": grid_record(prepared.grid),
        "wanted": {
            wanted.name: {"services": list(wanted.services), "at_least": wanted.at_least}
            for wanted in scenario.wanted
        },
        "tier_names": [tier.name for tier in prepared.tiers.tiers],
        "parts_of_tiers": {str(tier.tier): parts_of_tier(tier) for tier in prepared.tiers},
        "stations": [station.station_id for station in scenario.stations],
        "station_names": station_names(scenario),
        "carriers": carriers_record(scenario),
        "left_out": dict(scenario.left_out),
        "sigma_db": sigma_record(prepared.reception_options),
        "homes": homes_record(prepared.homes, scenario),
        "inputs": inputs,
        "options": options,
        "models": MODEL_EDITIONS | {"chosen": settings.prediction.model},
        "versions": versions(),
        "warnings": list(prepared.warnings),
        "not_counted": list(NOT_COUNTED),
        "cautions": scenario_cautions(scenario)
        + ([calibration.in_words()] if calibration is not None else []),
        "calibration": calibration_record(calibration),
    }


def scenario_cautions(scenario: Scenario) -> list[str]:
    """Return the cautions of a scenario, for a map or for what is said of its stations and terrain."""
    terrain = scenario.settings.terrain
    return cautions(
        stations_as_of=scenario.stations_as_of_range,
        terrain=_terrain_in_words(terrain),
        cell_m=scenario.settings.grid.cell_m,
        trees=trees_in_words(terrain),
        not_counted=(*NOT_COUNTED, *terrain.credits),
    )


def trees_in_words(terrain: TerrainSettings) -> str:
    """Return how a scenario's trees and buildings are included."""
    return trees_sentence(
        terrain.kind,
        terrain.land_cover is not None,
        has_heights=terrain.clutter_height is not None,
        assumed_m=terrain.assumed_clutter_m,
    )


def versions() -> dict[str, str]:
    """Return the versions of covermap, its physics and the libraries under it."""
    return {
        "covermap": covermap.__version__,
        "physics": str(PHYSICS_VERSION),
        "python": platform.python_version(),
        **{name: metadata.version(name) for name in LIBRARIES},
        "gdal": ".".join(str(part) for part in pyogrio.__gdal_version__),
        "gdal_rasters": rasterio.__gdal_version__,
        "proj": pyproj.proj_version_str,
    }


def _terrain_in_words(terrain: TerrainSettings) -> str:
    """Return the elevation data in words: file names and kind."""
    names = [Path(path).name for path in terrain.elevation]
    listed = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    return f"{listed} ({'bare earth' if terrain.kind == 'bare_earth' else 'with trees and buildings'})"


def _rasters_of(coverage: Coverage, scenario: Scenario) -> list[Path]:
    """Return the raster files of the result that exist."""
    names = [*sorted(OF_GRID), *(f"{kind}/{s.station_id}" for kind in OF_STATION for s in scenario.stations)]
    names += [f"{name}/{layer.kind}" for name in coverage.lists for layer in LAYERS.values() if layer.of_list]
    return [path for name in names for path in coverage.files(name)]


def _write(output: Path, run: dict[str, Any]) -> None:
    write_text(output / RUN_FILE, json.dumps(run, indent=2, ensure_ascii=False) + "\n")
