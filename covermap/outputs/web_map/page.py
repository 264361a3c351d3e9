"""Writes map.html: one file with the map, its values and everything that shows them."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import jinja2
import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT
from covermap.errors import InputError
from covermap.outputs import palette
from covermap.outputs.coverage import Coverage
from covermap.outputs.layers import OUTSIDE_FLAG
from covermap.outputs.web_map import inlined
from covermap.outputs.web_map.facts import SIGNAL_STEPS, SURE_GREYS, Place, page_facts
from covermap.outputs.web_map.folium_page import OfflineMap, OfflinePage, StartPage, rendered
from covermap.outputs.web_map.heights import HeightSource, PageHeights, ResultHeights, page_heights
from covermap.outputs.web_map.layers import (
    OUTSIDE,
    UNKNOWN,
    block_middles,
    field_bytes,
    homes_tenths,
    packed,
    two_bytes,
)
from covermap.outputs.web_map.page_grid import PageGrid, page_grid
from covermap.outputs.web_map.plan_layers import plan_layers
from covermap.outputs.web_map.still import still_picture
from covermap.outputs.whole_file import write_text
from covermap.planning.areas import WholeSummary, summarise_whole
from covermap.scenario.records import Scenario

TEMPLATES = jinja2.Environment(
    loader=jinja2.FileSystemLoader(Path(__file__).parent),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def write_map(
    coverage: Coverage,
    scenario: Scenario,
    terrain_grey: NDArray[np.uint8],
    summaries: Mapping[str, WholeSummary] | None,
    path: Path,
    *,
    places: Sequence[Place] = (),
    tier_names: Sequence[str] | None = None,
    heights: HeightSource | None = None,
    areas: gpd.GeoDataFrame | None = None,
    zones: gpd.GeoDataFrame | None = None,
) -> None:
    """Write the interactive map of a result as one HTML file that opens without a network.

    Parameters
    ----------
    coverage : the result; its run record needs confidence_percent and cautions
    scenario : the checked scenario the result was made from
    terrain_grey : uint8, shape (rows, cols) of the grid
        Relief as greys, 176 in shadow to 250 in light, 226 where flat or unknown.
    summaries : what planning.areas.summarise_whole() gives; None lets the page ask it
        Its counts stand before any click and in the legend: homes, or shares of land without homes.
    path : the file to write; it is replaced only when the new one is whole
    places : names to write on the map
    tier_names : names of tiers 1 to 7 where the scenario has its own table
    heights : the terrain, which also knows the ground out to masts beyond the grid; None: the result's ground
    areas : neighbourhoods with their columns, of all lists
    zones : dead and doubtful zones of all lists

    Raises
    ------
    InputError
        If terrain_grey does not have the grid's shape or type.
    """
    terrain_grey = np.asarray(terrain_grey)
    if terrain_grey.shape != coverage.grid.shape or terrain_grey.dtype != np.uint8:
        raise InputError(
            f"terrain_grey must be uint8 of shape {coverage.grid.shape}, got {terrain_grey.dtype} of shape "
            f"{terrain_grey.shape}."
        )
    grid = page_grid(coverage.grid)
    source = heights or ResultHeights(coverage)
    facts = page_facts(
        coverage,
        scenario,
        grid,
        summaries or summarise_whole(coverage),
        places,
        tier_names,
        areas=areas,
        zones=zones,
        heights=source,
    )
    ground = page_heights(source, grid, facts["masts"])
    facts["heights"] = ground.facts()
    write_text(Path(path), _document(coverage, grid, facts, terrain_grey, ground))


def _document(
    coverage: Coverage,
    grid: PageGrid,
    facts: dict[str, Any],
    terrain_grey: NDArray[np.uint8],
    ground: PageHeights,
) -> str:
    page = OfflinePage()
    page.add_header(f"<title>{jinja2.filters.escape(facts['name'])}: which antenna</title>")
    page.add_header(f"<style>{inlined.leaflet('leaflet.css')}</style>")
    fills = tuple(fill for *_, fill in SIGNAL_STEPS)
    page.add_header(f"<style>{inlined.own_style(SURE_GREYS, fills)}</style>")
    relief = grid.spread(terrain_grey, palette.RELIEF_FLAT_GREY)
    page.add_body(_without_script(coverage, grid, facts, relief))
    page.add_body(TEMPLATES.get_template("page_top.html").render(facts=facts))
    folium_map = OfflineMap(_middle(facts))
    folium_map.add_child(StartPage())
    page.add_child(folium_map)
    page.add_body(TEMPLATES.get_template("page.html").render(facts=facts))
    page.add_body(f'<script type="application/json" id="facts">{_json_text(facts)}</script>')
    page.add_body(f'<script type="text/plain" id="layer:heights">{packed(ground.as_bytes())}</script>')
    for name, values in _layers(coverage, grid, facts, relief):
        page.add_body(f'<script type="text/plain" id="layer:{name}">{packed(values)}</script>')
    page.add_body(f"<script>{inlined.leaflet('leaflet.js')}</script>")
    page.add_body(f"<script>{inlined.own_script()}</script>")
    return rendered(page)


def _json_text(facts: dict[str, Any]) -> str:
    """Return JSON that cannot end its script element, whatever the names hold."""
    text = json.dumps(facts, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _middle(facts: dict[str, Any]) -> tuple[float, float]:
    """Return latitude and longitude of the map's middle."""
    places = facts["grid"]["place_of_cell"]
    middle = len(places) // 4 * 2
    return places[middle + 1], places[middle]


def _without_script(
    coverage: Coverage, grid: PageGrid, facts: dict[str, Any], relief: NDArray[np.uint8]
) -> str:
    """Return what stands in the page when scripts are off: a picture of each list, legend and cautions."""
    outside = _outside(coverage)
    pictures = []
    for wanted in facts["lists"]:
        tier = _inside_map(grid, coverage.read(f"{wanted['name']}/tier"), outside)
        png = still_picture(grid, tier, relief, facts["masts"])
        pictures.append({"name": wanted["name"], "base64": base64.b64encode(png).decode("ascii")})
    return TEMPLATES.get_template("without_script.html").render(facts=facts, pictures=pictures)


def _layers(
    coverage: Coverage, grid: PageGrid, facts: dict[str, Any], relief: NDArray[np.uint8]
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield name and bytes of every value layer, one in memory at a time."""
    yield "relief", relief
    yield "flags", grid.spread(coverage.read("flags"), 0)
    if facts["has_homes"]:
        tenths = grid.spread(homes_tenths(coverage.read("homes")), 0)
        yield "homes_low", two_bytes(tenths)[0]
        yield "homes_high", two_bytes(tenths)[1]
        yield "homes_any", (tenths > 0).astype(np.uint8)
    for station in facts["stations"]:
        if station["has_field"]:
            name = f"field/{station['station_id']}"
            field = grid.spread(field_bytes(coverage.read(name)), UNKNOWN)
            yield name, block_middles(field, facts["station_step"])
    outside = _outside(coverage)
    for wanted in facts["lists"]:
        yield from _list_layers(coverage, grid, wanted, outside, facts["station_step"])


def _list_layers(
    coverage: Coverage,
    grid: PageGrid,
    wanted: dict[str, Any],
    outside: NDArray[np.bool_],
    station_step: int,
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    name = wanted["name"]
    yield f"{name}/tier", _inside_map(grid, coverage.read(f"{name}/tier"), outside)
    for number, chance in zip(range(1, TIER_COUNT + 1), coverage.read(f"{name}/tier_chance"), strict=True):
        yield f"{name}/tier_chance_{number}", grid.spread(chance, UNKNOWN)
    low, high = two_bytes(grid.spread(coverage.read(f"{name}/aim"), -1))
    yield f"{name}/aim_low", low
    yield f"{name}/aim_high", high
    for kind in ("limiting_service", "deciding_service"):
        yield f"{name}/{kind}", grid.spread(coverage.read(f"{name}/{kind}"), UNKNOWN)
    yield from plan_layers(coverage, grid, name)
    for kind in ("service_chance", "service_chance_one_lower"):
        for order, chance in enumerate(coverage.read(f"{name}/{kind}")):
            yield f"{name}/{kind}_{order}", block_middles(grid.spread(chance, UNKNOWN), station_step)


def _outside(coverage: Coverage) -> NDArray[np.bool_]:
    return (coverage.read("flags") & OUTSIDE_FLAG) > 0


def _inside_map(grid: PageGrid, tier: NDArray[np.uint8], outside: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Return the pixels' tiers with OUTSIDE beyond the grid and beyond the asked area."""
    return grid.spread(np.where(outside, np.uint8(OUTSIDE), tier), OUTSIDE)
