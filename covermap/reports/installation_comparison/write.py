"""Writes a comparison of installations: page, layer, rasters, tables and record."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import rasterio
import rasterio.features
import shapely
from scipy import ndimage

from covermap.constants import UNKNOWN_UINT8
from covermap.planning.installation_comparison import (
    DIFFERENCES,
    ONLY_FIRST,
    ONLY_OTHER,
    InstallationComparison,
)
from covermap.reports.brief.picture import Label
from covermap.reports.installation_comparison.page import AREAS_FILE, page_facts
from covermap.reports.installation_comparison.picture import FILLS
from covermap.reports.installation_comparison.words import (
    comparison_in_words,
)
from covermap.reports.templates import templates_beside
from covermap.result.csv_tables import write_csv
from covermap.result.whole_file import whole_file, write_text
from covermap.wording import palette
from covermap.wording.retold import retold
from covermap.wording.words import file_safe

TEMPLATES = templates_beside(__file__)
PAGE_FILE, LAYER_FILE, RECORD_FILE = "antennas.html", "antennas.gpkg", "antennas.json"
COUNTS_FILE = "antennas.csv"
LAYER = "antenna_difference"


def write_installation_comparison(
    found: InstallationComparison,
    folder: Path,
    *,
    title: str,
    cautions: Sequence[str],
    labels: Sequence[Label],
    notes: Sequence[str] = (),
    distance_unit: str = "km",
) -> list[str]:
    """Write page, layer, rasters, tables and record into a folder; return the comparison in sentences.

    labels : masts and neighbourhoods for the pictures. notes : further sentences
    """
    folder.mkdir(parents=True, exist_ok=True)
    sentences = comparison_in_words(found)
    _write_layer(found, [*sentences, *retold(cautions)], folder)
    for place in range(len(found.differences)):
        _write_raster(found, place, folder)
    write_csv(_counts_table(found), folder / COUNTS_FILE)
    if found.areas is not None:
        write_csv(_areas_table(found), folder / AREAS_FILE)
    facts = page_facts(found, title, cautions, labels, notes, distance_unit)
    write_text(folder / PAGE_FILE, TEMPLATES.get_template("antennas.html").render(facts=facts))
    record = _record(found, notes, cautions)
    write_text(folder / RECORD_FILE, json.dumps(record, indent=2, ensure_ascii=False) + "\n")
    return sentences


def difference_patches(found: InstallationComparison) -> gpd.GeoDataFrame:
    """Return connected patches where one of two installations alone holds the list, for each of the others.

    Columns: first, other, difference (gained or lost), area_km2, homes (blank where not known), outline.
    """
    grid, rows, outlines = found.grid, [], []
    for place, change in enumerate(found.differences):
        first, other = found.installations[0].key, found.installations[place + 1].key
        for kind in (ONLY_OTHER, ONLY_FIRST):
            labels, count = ndimage.label(change.code == kind)
            cells = np.bincount(labels.ravel(), minlength=count + 1)
            homes = np.bincount(labels.ravel(), found.weight.ravel(), minlength=count + 1)
            shapes = rasterio.features.shapes(
                labels.astype(np.int32), mask=labels > 0, connectivity=4, transform=grid.transform
            )
            for shape, value in shapes:
                patch = int(value)
                outlines.append(shapely.Polygon(shape["coordinates"][0], shape["coordinates"][1:]))
                rows.append(
                    {
                        "first": first,
                        "other": other,
                        "difference": DIFFERENCES[kind],
                        "area_km2": cells[patch] * grid.cell_m**2 / 1e6,
                        "homes": round(float(homes[patch]), 3) if found.counted == "homes" else math.nan,
                    }
                )
    columns = ["first", "other", "difference", "area_km2", "homes"]
    return gpd.GeoDataFrame(pd.DataFrame(rows, columns=columns), geometry=outlines, crs=grid.crs_wkt)


def _write_layer(found: InstallationComparison, sentences: Sequence[str], folder: Path) -> None:
    with whole_file(folder / LAYER_FILE) as temporary:
        pyogrio.write_dataframe(
            difference_patches(found),
            temporary,
            layer=LAYER,
            driver="GPKG",
            geometry_type="Polygon",
            dataset_options={"VERSION": "1.2"},
            layer_options={"GEOMETRY_NAME": "geom", "DESCRIPTION": " ".join(sentences)},
        )


def raster_file(found: InstallationComparison, place: int) -> str:
    """Return the name of the raster of one difference."""
    return f"instead_{file_safe(found.installations[place + 1].key)}.tif"


def _write_raster(found: InstallationComparison, place: int, folder: Path) -> None:
    """Write codes of DIFFERENCES with their colours, names and meaning."""
    grid, path = found.grid, folder / raster_file(found, place)
    colours = {code: (*palette.rgb(fill), 255) for code, fill in FILLS.items()}
    profile = {
        "driver": "GTiff", "height": grid.rows, "width": grid.cols, "count": 1, "dtype": "uint8",
        "crs": grid.crs_wkt, "transform": grid.transform, "nodata": UNKNOWN_UINT8, "compress": "deflate",
        "tiled": True, "blockxsize": 256, "blockysize": 256,
    }  # fmt: skip
    with whole_file(path) as temporary, rasterio.open(temporary, "w", **profile) as dataset:
        dataset.write(found.differences[place].code, 1)
        dataset.write_colormap(1, {code: colours.get(code, (0, 0, 0, 0)) for code in range(256)})
        dataset.update_tags(
            FIRST=found.installations[0].key,
            OTHER=found.installations[place + 1].key,
            MEANING="; ".join(f"{code} {name}" for code, name in enumerate(DIFFERENCES)),
        )


def _counts_table(found: InstallationComparison) -> pd.DataFrame:
    """Return a row an installation: who holds the list, and each service alone."""
    rows: list[dict[str, Any]] = []
    for one, count in zip(found.installations, found.counts, strict=True):
        row: dict[str, Any] = {
            "antenna": one.key, "name": one.name, "mount": one.mount,
            "amplifiers": "; ".join(name for name, _ in one.amplifiers),
            "price": one.price, "counted": found.counted, "holds": count.holds, "holds_low": count.low,
            "holds_high": count.high, "more_with_amplifier": count.with_amplifier, "not_held": count.not_held,
            "unknown": count.unknown,
        }  # fmt: skip
        row |= {f"alone: {service}": value for service, value in count.services.items()}
        row |= {f"alone, amplified: {service}": v for service, v in count.services_amplified.items()}
        rows.append(row)
    return pd.DataFrame(rows).round(1)


def _areas_table(found: InstallationComparison) -> pd.DataFrame:
    """Return a row a neighbourhood and installation behind the first."""
    tables = []
    for one, table in zip(found.installations[1:], found.areas or (), strict=True):
        tables.append(table.assign(first=found.installations[0].key, other=one.key, counted=found.counted))
    whole = pd.concat(tables, ignore_index=True)
    front = ["first", "other", "counted"]
    return whole[front + [name for name in whole.columns if name not in front]]


def _record(found: InstallationComparison, notes: Sequence[str], cautions: Sequence[str]) -> dict[str, Any]:
    return {
        "list": found.list_name,
        "confidence_percent": found.confidence_percent,
        "counted": found.counted,
        "antennas": [
            {
                "antenna": one.key,
                "name": one.name,
                "mount": one.mount,
                "amplifiers": [
                    {
                        "name": name,
                        "price": None if math.isnan(price) else price,
                        "more": round(homes, 1),
                    }
                    for (name, price), homes in zip(one.amplifiers, count.with_amplifiers, strict=True)
                ],
                "price": None if math.isnan(one.price) else one.price,
                "holds": round(count.holds, 1),
                "holds_range": None
                if count.low is None
                else [round(count.low, 1), round(count.high or 0.0, 1)],
                "more_with_amplifier": None
                if count.with_amplifier is None
                else round(count.with_amplifier, 1),
                "not_held": round(count.not_held, 1),
                "unknown": round(count.unknown, 1),
                "services": {name: round(value, 1) for name, value in count.services.items()},
                "services_amplified": {n: round(v, 1) for n, v in count.services_amplified.items()},
            }
            for one, count in zip(found.installations, found.counts, strict=True)
        ],
        "instead_of_first": [
            {
                "antenna": one.key,
                "gained": round(change.gained, 1),
                "lost": round(change.lost, 1),
                "gained_range": _rounded(change.gained_range),
                "lost_range": _rounded(change.lost_range),
                "services": {
                    name: {"gained": round(gained, 1), "lost": round(lost, 1)}
                    for name, (gained, lost) in change.services.items()
                },
                "raster": raster_file(found, place),
            }
            for place, (one, change) in enumerate(
                zip(found.installations[1:], found.differences, strict=True)
            )
        ],
        "notes": list(notes),
        "cautions": list(cautions),
    }


def _rounded(span: tuple[float, float] | None) -> list[float] | None:
    return None if span is None else [round(value, 1) for value in span]
