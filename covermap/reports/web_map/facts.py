"""What the page knows beside its value layers, as one JSON record; names as in Python."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any
from urllib.parse import urlsplit

import geopandas as gpd

from covermap.bearings import Declination, compass_day, declination
from covermap.constants import EARTH_RADIUS_KM, TIER_NOT_PROMISED
from covermap.planning.areas import WholeSummary
from covermap.planning.places import Place
from covermap.propagation.path_geometry import median_radius_km
from covermap.reports.web_map.area_facts import neighbourhood_facts, zone_facts
from covermap.reports.web_map.heights import HeightSource
from covermap.reports.web_map.layers import FIELD_OFFSET_DB, station_step
from covermap.reports.web_map.map_layers import ridge_facts
from covermap.reports.web_map.page_grid import PageGrid
from covermap.reports.web_map.plan_layers import plan_facts
from covermap.reports.web_map.summary import count_facts
from covermap.result.coverage import Coverage
from covermap.result.raster_catalogue import FILLED_GROUND_FLAG, NEAR_MAST_FLAG, STEEP_RAY_FLAG
from covermap.result.station_names import station_names
from covermap.scenario.letters import is_lettered, station_letters
from covermap.scenario.records import Scenario, Station, WantedList
from covermap.scenario.settings import MapSettings
from covermap.scenario.wanted import ANY_SERVICE
from covermap.wording import palette, words
from covermap.wording.language import messages, say, spoken
from covermap.wording.lists import channel_words, list_words, short_list_words, together_words
from covermap.wording.notes import note_words
from covermap.wording.palette import SURE_GREYS, signal_steps
from covermap.wording.retold import retold
from covermap.wording.tier_names import mounting_words, spoken_tier_names
from covermap.wording.verdicts import AMPLIFIER_CODES, PLAN_FLAGS, amplifier_words, plan_note

DEFAULT_DN = 45.0  # N-units/km, where a scenario has no settings
FADED_OPACITY = 0.12  # of squares without homes, when the reader fades them
FLAG_NOTES = ((NEAR_MAST_FLAG, "near"), (STEEP_RAY_FLAG, "steep"), (FILLED_GROUND_FLAG, "filled"))
WORDS_OF_PAGE = (
    "page",
    "by_class",
    "chance",
    "hard",
    "chance",
    "number",
    "language",
    "list",
    "lower",
    "station",
)  # sections of the messages


def page_facts(
    coverage: Coverage,
    scenario: Scenario,
    grid: PageGrid,
    summaries: Mapping[str, WholeSummary],
    places: Sequence[Place],
    tier_names: Sequence[str] | None,
    *,
    areas: gpd.GeoDataFrame | None,
    zones: gpd.GeoDataFrame | None,
    ridges: gpd.GeoDataFrame | None,
    heights: HeightSource,
    stations: Sequence[int] | None = None,
) -> dict[str, Any]:
    """Return the record; text in it is raw and is escaped where it is written and shown.

    stations : indices of the stations the page knows; None: those of the wanted lists
    """
    run = coverage.run
    height_unit = scenario.settings.display.height if scenario.settings is not None else "m"
    shown = _shown_stations(scenario) if stations is None else list(stations)
    grid_facts = grid.facts()
    return {
        "name": scenario.name,
        "confidence_percent": run["confidence_percent"],
        "stations_as_of": run.get("stations_as_of") or scenario.stations_as_of,
        "cautions": retold(coverage.run["cautions"]),
        "grid": {key: value for key, value in grid_facts.items() if key != "outline"},
        "outline": grid_facts["outline"],
        "tiers": _tiers(run["confidence_percent"], tier_names, height_unit),
        "lists": [
            {
                **_wanted_list(wanted, shown, summaries[wanted.name]),
                **plan_facts(coverage, wanted.name),
                "neighbourhoods": neighbourhood_facts(areas, wanted.name),
                "zones": zone_facts(zones, wanted.name),
                "ridges": ridge_facts(ridges, wanted.name),
                "has_zone": coverage.has(f"{wanted.name}/dead_zone_chance"),
            }
            for wanted in scenario.wanted
            if wanted.name in coverage.lists
        ],
        "stations": _stations(coverage, scenario, shown),
        "station_names": station_names(scenario),
        "every_service": list(coverage.tag_values("service_tiers", "SERVICES"))
        if coverage.has("service_tiers")
        else [],
        "masts": _masts(scenario, shown, heights),
        "places": place_facts(places),
        "example_position": _example_position(grid),
        "station_step": station_step(grid.cell.size, len(shown)),
        "has_homes": coverage.has("homes"),
        "has_areas": areas is not None,
        "declination": _declination(grid, run.get("stations_as_of") or scenario.stations_as_of),
        "flag_notes": _notes([(flag, note_words(code, height_unit)) for flag, code in FLAG_NOTES]),
        "plan_notes": _notes([(flag, plan_note(name)) for flag, name in PLAN_FLAGS.items()]),
        "amplifier_words": {value: amplifier_words(code) for value, code in AMPLIFIER_CODES.items()},
        "scenario_file": scenario.path.name,
        **_path_facts(scenario),
        **_looks(),
    }


def _notes(notes: Sequence[tuple[int, str]]) -> list[dict[str, Any]]:
    return [{"flag": flag, "words": text} for flag, text in notes]


def _path_facts(scenario: Scenario) -> dict[str, Any]:
    """Return what skylines and path profiles are drawn with."""
    settings = scenario.settings
    dn = settings.prediction.dn if settings is not None else DEFAULT_DN
    return {
        "effective_radius_km": round(float(median_radius_km(dn)), 3),
        "earth_radius_km": EARTH_RADIUS_KM,
        "distance_unit": settings.display.distance if settings is not None else "km",
        "height_unit": settings.display.height if settings is not None else "m",
    }


def _looks() -> dict[str, Any]:
    """Return thresholds, words and colours that the scripts must share with Python."""
    steps = words.chance_steps()
    uppers = [None, *(lowest for lowest, _ in steps[:-1])]
    sure = [
        {"lowest": lowest, "words": f"{name}, {words.between(lowest, upper, ' %')}", "fill": grey}
        for (lowest, name), upper, grey in zip(steps, uppers, SURE_GREYS, strict=True)
    ]
    return {
        "chance_words": [list(row) for row in steps],
        "small_count": round(words.SMALL_COUNT),
        "km_per_mile": words.KM_PER_MILE,
        "feet_per_m": words.FEET_PER_M,
        "fill_opacity": palette.FILL_OPACITY,
        "faded_opacity": FADED_OPACITY,
        "hatch_colour": palette.HATCH_COLOUR,
        "kind_tints": palette.KIND_TINTS,
        "dot_colour": palette.UNKNOWN_DOT_COLOUR,
        "field_offset_db": FIELD_OFFSET_DB,
        "sure_steps": sure,
        "services_steps": [
            {"lowest": low, "words": text, "fill": fill} for low, text, fill in _services_steps()
        ],
        "signal_steps": [
            {"lowest": low, "words": words.between(low, upper), "fill": fill}
            for low, upper, fill in signal_steps()
        ],
        "words": {
            key: text for key, text in messages(spoken()).items() if key.split(".")[0] in WORDS_OF_PAGE
        },
    }


def _services_steps() -> list[tuple[int | None, str, str]]:
    """Return how many services arrive, in steps: from, in words, fill; the most are lightest."""
    lowest = [20, 12, 8, 4, 1, None]
    uppers = [None, 19, 11, 7, 3, None]
    said = [
        say("number.none") if low is None else words.between(low, upper)
        for low, upper in zip(lowest, uppers, strict=True)
    ]
    fills = [fill for _, _, fill in signal_steps()]
    return list(zip(lowest, said, fills, strict=True))


def _tiers(
    confidence_percent: float, tier_names: Sequence[str] | None, height_unit: str
) -> list[dict[str, Any]]:
    tiers = [
        {
            "tier": look.number,
            "name": say(f"tier.name_{look.number}"),
            "mounting": mounting_words(look.number, height_unit) if look.number < TIER_NOT_PROMISED else "",
            "fill": look.fill,
            "painted": look.painted,
            "ink": look.ink,
            "halo": palette.INK_LIGHT if look.ink == palette.INK_DARK else palette.INK_DARK,
        }
        for look in palette.TIERS
    ]
    tiers[-1]["mounting"] = say("tier.no_antenna", sure=f"{confidence_percent:g} %")
    for tier, name in zip(tiers, spoken_tier_names(tier_names or ()), strict=False):
        tier["name"] = name
    amplifier = say("tier.amplifier")
    for tier in tiers:  # where the name tells of the amplifier, the legend need not
        head, _, tail = str(tier["mounting"]).partition(", ")
        tier["mounting_short"] = (
            head if amplifier in str(tier["name"]).lower() and amplifier in tail.lower() else tier["mounting"]
        )
    return tiers


def _shown_stations(scenario: Scenario) -> list[int]:
    """Return the indices of the stations that carry a wanted service of any list, in file order."""
    return sorted({index for wanted in scenario.wanted for group in wanted.transmitters for index in group})


def _stations(coverage: Coverage, scenario: Scenario, shown: Sequence[int]) -> list[dict[str, Any]]:
    letters = station_letters(scenario)
    stations = [scenario.stations[index] for index in shown]
    return [_station(coverage, scenario, station, letters[station.station_id]) for station in stations]


def _station(coverage: Coverage, scenario: Scenario, station: Station, letter: str) -> dict[str, Any]:
    return {
        "station_id": station.station_id,
        "letter": letter,
        "service": station.service,
        "mast": scenario.masts.index(station.mast),
        "displayed_channel": station.displayed_channel,
        "channel_words": channel_words(
            station.displayed_channel, station.rf_channel, station.frequency_mhz, station.band
        ),
        "rf_channel": station.rf_channel,
        "antenna_height_m": station.antenna_height_m,
        "has_field": coverage.has(f"field/{station.station_id}"),
    }


def _masts(scenario: Scenario, shown: Sequence[int], heights: HeightSource) -> list[dict[str, Any]]:
    """Return every mast in file order, where its first shown station (else its first) stands."""
    places: dict[str, Station] = {}
    for station in [*(scenario.stations[index] for index in shown), *scenario.stations]:
        places.setdefault(station.mast, station)
    ground_m = heights.elevation_m(
        [places[mast].longitude_deg for mast in scenario.masts],
        [places[mast].latitude_deg for mast in scenario.masts],
    )
    return [
        {
            "name": mast,
            "latitude_deg": places[mast].latitude_deg,
            "longitude_deg": places[mast].longitude_deg,
            "ground_m": None if math.isnan(level_m) else round(float(level_m), 1),
        }
        for mast, level_m in zip(scenario.masts, ground_m, strict=True)
    ]


def place_facts(places: Sequence[Place]) -> list[dict[str, Any]]:
    """Return named places as the page's scripts read them."""
    return [asdict(place) for place in places]


def base_map_facts(scenario: Scenario) -> dict[str, str] | None:
    """Return address, origin, host and credit of the base map that the scenario names; None without one."""
    asked = scenario.settings.map if scenario.settings is not None else MapSettings()
    if asked.base_map is None:
        return None
    parts = urlsplit(asked.base_map)
    return {
        "address": asked.base_map,
        "origin": f"{parts.scheme}://{parts.netloc}",
        "host": parts.netloc,
        "credit": asked.base_map_credit.strip(),
    }


def _wanted_list(wanted: WantedList, shown: Sequence[int], summary: WholeSummary) -> dict[str, Any]:
    order = {index: position for position, index in enumerate(shown)}
    return {
        "name": wanted.name,
        "asked": wanted.name != ANY_SERVICE,
        "services": list(wanted.services),
        "needed": wanted.needed,
        "words": _list_words(wanted),
        "transmitters": [[order[index] for index in group] for group in wanted.transmitters],
        "lettered": [is_lettered(group) for group in wanted.transmitters],
        **count_facts(summary.columns),
    }


def _list_words(wanted: WantedList) -> dict[str, str]:
    """Return a list as the sentences of the page name it; a list of one by its service."""
    count = len(wanted.services)
    one = wanted.services[0] if count == 1 else ""
    return {
        "subject": one or list_words(count, wanted.needed),
        "short": one or short_list_words(count, wanted.needed),
        "short_all": one or short_list_words(count, count),
        "together": one or together_words(count, wanted.needed),
    }


def _example_position(grid: PageGrid) -> str:
    """Return a position inside the map, as people may type it."""
    place = grid.facts()["place_of_cell"]
    middle = (len(place) // 2) // 2 * 2
    return f"{place[middle + 1]:.1f}, {place[middle]:.1f}"


def _declination(grid: PageGrid, as_of: str) -> dict[str, Any] | None:
    """Return the declination at the map's middle."""
    place = grid.facts()["place_of_cell"]
    middle = (len(place) // 2) // 2 * 2
    found: Declination | None = declination(place[middle + 1], place[middle], compass_day(as_of))
    if found is None:
        return None
    whole = round(abs(found.declination_deg), 1)
    side = "east" if found.declination_deg >= 0 else "west"
    return {
        "declination_deg": round(found.declination_deg, 2),
        "on": found.on.isoformat(),
        "words": say(f"number.declination_{side}", degrees=words.decimal(whole, 1)),
    }
