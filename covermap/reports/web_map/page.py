"""Writes map.html: one file with the map, its values and everything that shows them."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import chain
from pathlib import Path
from typing import Any

import geopandas as gpd
import jinja2
import numpy as np
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.planning.areas import WholeSummary, summarise_whole
from covermap.planning.context import Context
from covermap.planning.places import Place
from covermap.reports.templates import templates_beside
from covermap.reports.web_map import inlined
from covermap.reports.web_map.context import packed_context
from covermap.reports.web_map.facts import base_map_facts, page_facts, place_facts
from covermap.reports.web_map.folium_page import OfflineMap, OfflinePage, StartPage, rendered
from covermap.reports.web_map.heights import HeightSource, PageHeights, ResultHeights, page_heights
from covermap.reports.web_map.layers import all_packed, packed
from covermap.reports.web_map.own_list import own_list
from covermap.reports.web_map.page_answers import PageAnswers
from covermap.reports.web_map.page_grid import PageGrid, page_grid
from covermap.reports.web_map.still import still_picture
from covermap.reports.web_map.value_layers import block_layers, inside_map, outside_area, whole_layers
from covermap.result.coverage import Coverage
from covermap.result.whole_file import write_text
from covermap.scenario.records import Scenario
from covermap.wording import palette
from covermap.wording.language import say
from covermap.wording.palette import SIGNAL_STEPS, SURE_GREYS

TEMPLATES = templates_beside(__file__)


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
    ridges: gpd.GeoDataFrame | None = None,
    answers: Callable[[], PageAnswers] = PageAnswers,
    context: Sequence[Context] = (),
    customers: Sequence[Place] = (),
    largest_whole: int | None = None,
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
    ridges : the ridges that shade homes, of all lists
    context : layers of the user's own, drawn over the squares; customers : further names to find
    answers : gives what was asked for the page; called when the layers that do not depend on it are packed
    largest_whole : of a map in parts, which has neither of the two, how many squares one with them may have;
        the page says it

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
    relief = grid.spread(terrain_grey, palette.RELIEF_FLAT_GREY)
    around = packed_context(context, grid)
    lists = [wanted.name for wanted in scenario.wanted if wanted.name in coverage.lists]
    of_context = ((f"context/{order}", part) for order, part in enumerate(around.parts))
    packed_ahead = list(all_packed(chain(whole_layers(coverage, grid, lists, relief, areas), of_context)))
    answered = answers()
    own = None if answered.alone is None else own_list(answered.alone, scenario)
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
        ridges=ridges,
        heights=source,
        stations=None if own is None else own.shown,
    )
    facts["context"] = around.facts()
    facts["customers"] = place_facts(customers)
    facts["base_map"] = base_map_facts(scenario)
    facts["own_list"] = None if own is None else own.facts()
    facts["largest_whole"] = largest_whole
    facts["antennas"] = None if answered.antennas is None else answered.antennas.facts()
    ground = page_heights(source, grid, facts["masts"])
    facts["heights"] = ground.facts()
    with ThreadPoolExecutor(1) as pool:  # packing leaves Python to the pictures
        pictures = pool.submit(_still_pictures, coverage, grid, facts, relief)
        layers = [*packed_ahead, *all_packed(block_layers(coverage, grid, facts, own, answered.antennas))]
        write_text(Path(path), _document(facts, pictures.result(), ground, layers))


def _document(
    facts: dict[str, Any],
    pictures: list[dict[str, str]],
    ground: PageHeights,
    layers: Iterable[tuple[str, str]],
) -> str:
    page = OfflinePage()
    page.add_header(f"<title>{jinja2.filters.escape(facts['name'])}: {say('page.title')}</title>")
    page.add_header(f"<style>{inlined.leaflet('leaflet.css')}</style>")
    fills = tuple(fill for _, fill in SIGNAL_STEPS)
    page.add_header(f"<style>{inlined.own_style(SURE_GREYS, fills)}</style>")
    page.add_body(
        TEMPLATES.get_template("without_script.html").render(facts=facts, pictures=pictures, say=say)
    )
    page.add_body(TEMPLATES.get_template("page_top.html").render(facts=facts, say=say))
    folium_map = OfflineMap(_middle(facts))
    folium_map.add_child(StartPage())
    page.add_child(folium_map)
    page.add_body(TEMPLATES.get_template("page.html").render(facts=facts, say=say))
    page.add_body(f'<script type="application/json" id="facts">{_json_text(facts)}</script>')
    page.add_body(f'<script type="text/plain" id="layer:heights">{packed(ground.as_bytes())}</script>')
    for name, text in layers:
        page.add_body(f'<script type="text/plain" id="layer:{name}">{text}</script>')
    page.add_body(f"<script>{inlined.leaflet('leaflet.js')}</script>")
    page.add_body(f"<script>{inlined.own_script()}</script>")
    return rendered(page, None if facts["base_map"] is None else facts["base_map"]["origin"])


def _json_text(facts: dict[str, Any]) -> str:
    """Return JSON that cannot end its script element, whatever the names hold."""
    text = json.dumps(facts, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _middle(facts: dict[str, Any]) -> tuple[float, float]:
    """Return latitude and longitude of the map's middle."""
    places = facts["grid"]["place_of_cell"]
    middle = len(places) // 4 * 2
    return places[middle + 1], places[middle]


def _still_pictures(
    coverage: Coverage, grid: PageGrid, facts: dict[str, Any], relief: NDArray[np.uint8]
) -> list[dict[str, str]]:
    """Return a picture of each list, for a page whose scripts are off: its name, and a PNG in base64."""
    outside = outside_area(coverage)
    pictures = []
    for wanted in facts["lists"]:
        tier = inside_map(grid, coverage.read(f"{wanted['name']}/tier"), outside)
        png = still_picture(grid, tier, relief, facts["masts"])
        pictures.append({"name": wanted["name"], "base64": base64.b64encode(png).decode("ascii")})
    return pictures
