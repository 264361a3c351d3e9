"""What `covermap new` writes: a commented scenario, blank tables, and a list of what is still missing."""

from __future__ import annotations

import json
import os
from pathlib import Path

from covermap.errors import InputError
from covermap.scenario.channels import plan_names
from covermap.scenario.toml_file import read_toml
from covermap.scenario.transmitters import CSV_SUFFIXES
from covermap.tables import table_text

STATION_COLUMNS = (
    "station_id,service,mast,displayed_channel,status,latitude_deg,longitude_deg,rf_channel,erp_kw,"
    "antenna_height_m,ground_m,polarization,azimuth_pattern,elevation_pattern,electrical_tilt_deg,"
    "mechanical_tilt_deg,mechanical_tilt_azimuth_deg,system,use,sfn_group,sfn_delay_us,as_of"
)
PATTERN_COLUMNS = "pattern,plane,angle_deg,relative_field"
HOME_COLUMNS = "longitude_deg,latitude_deg,homes"

# A line that begins with "# key =" shows a key that may stay away, with its default or an example.
TEMPLATE = """\
# A covermap scenario. Fill in what is blank, then run: covermap check scenario.toml
# Paths are relative to this file. Lines that begin with "# key =" may stay as they are.

name = {name}
output = "out"

[grid]
cell_m = 100                      # size of a square, 5 to 10000 m
# crs = "auto"                    # or an EPSG code, as in "EPSG:32625"
# The area: a polygon layer, or four sides in degrees, or neither (the elevation's extent).
# area = "area.gpkg"
# west = -36.4
# south = 43.8
# east = -35.8
# north = 44.2

[terrain]
elevation = {elevation}           # whatever GDAL reads, one file or many; it must reach every mast
# elevation_unit = "m"            # m | ft | dm | cm, only where the file does not say
# kind = "bare_earth"             # or "with_canopy": trees and roofs are in it
# bare_earth = ["bare.tif"]       # needed by with_canopy: what the elevation is above it stands on the ground
# land_cover = "land_cover.tif"   # classes of trees, buildings, water
# land_cover_table = "land_cover.csv"   # class -> category and height; default: the built-in table
# clutter_height = "heights.tif"  # heights of trees and buildings above the ground, m; before the classes
# assumed_clutter_m = 10          # without any of them: within 100 m of homes, or everywhere without homes
# sea = "sea.gpkg"                # default: the water class where it touches the edge of the data
# credits = ["Elevation: ..."]    # what the data's licences ask for; stands on every output

[transmitters]
file = {stations}                 # CSV or a layer of points; units stand in the column names
# layer = "stations"              # of a file that has several
channel_plan = ""                 # {plans}
default_system = "atsc1_8vsb"     # for rows that name no system
# patterns = "patterns.csv"       # pattern, plane (azimuth | elevation), angle_deg, relative_field (0 to 1)

# What viewers want; one or more named lists. A service is named by its name, by the number shown on
# the set ("5.1") or by its channel ("RF 21").
[wanted.main]
services = []
# networks = []                   # in place of services: those of many transmitters; any in reach does
# at_least = 1                    # that many of the list suffice; without services: of all services

[prediction]
# model = "p1812"                 # or "itm" (terrain alone, no trees or buildings), "free_space"
# second_opinion = "itm"          # or "curves": where another model would ask for another antenna
# time_rule = "us_90_10"          # wanted 90 % of time, interference 10 %; "gt_50_1": 50 and 1
# reach_km = 250                  # how far from a mast paths are computed
# profile_step_m = 50             # 50 to 100
# n0 = 325                        # sea-level surface refractivity, N units
# dn = 45                         # refractivity lapse in the lowest kilometre, N units, positive
# climate = "continental_temperate"   # of the model itm, as its ground:
# ground_permittivity = 15
# ground_conductivity_s_m = 0.005
# calibration = "calibration.toml"

[reception]
# confidence_percent = 90         # how sure a square's antenna must be, all wanted services together
# How far the prediction of a square is off, by what stands in the way of the path:
# prediction_spread = "prediction_spread.csv"   # default: the built-in table, of which this is a copy
# prediction_error_db = "auto"    # or a number of dB for all paths, in place of the table
# noise_environment = "by_land_cover"   # of a home's class, residential where none is known; or everywhere
                                  # city | residential | rural | quiet_rural
# building = "traditional"        # or "thermally_efficient": foil and coated glass; indoor antennas lose more
# antenna_tiers = "tiers.csv"     # default: the built-in table, of which tiers.csv is a copy
# antennas = "antennas.csv"       # a catalogue; beside it antenna_gains.csv. Default: generic antennas
# tuner_noise_figure_db = 7
# dead_zone_services = 1          # a dead zone has less than this many of the services, even from a tall mast
# What the signals at one home have in common, beyond what the map knows: 0 nothing, 1 they fail together.
# home_correlation = 0.25         # any two: trees and houses around the home act on all of them; assumed
# site_correlation = 0.85         # two from one site in one band: the same hills and air; assumed. Lower: a
                                  # list of many services from one site is less sure

# [homes]                         # points or polygons with a count, or a raster of homes per cell
# file = "homes.gpkg"
# count = "homes"
# year = 2025
# roof_access_percent = "roof_access"   # a column, for flats
# building = "building"           # a column: traditional or thermally_efficient; blank as under [reception]

# [areas]
# neighbourhoods = "neighbourhoods.gpkg"
# neighbourhood_key = "ward_code"
# neighbourhood_name = "ward_name"
# service_area = "territory.gpkg"   # or a depot and how far from it you work:
# depot = "N44.0 W36.1"          # or longitude, latitude: [-36.1, 44.0]
# radius_km = 40
# places = "places.gpkg"          # names to find on the map

# [business]
# prices = "prices.csv"

[map]
# context = ["roads.gpkg", {{ file = "lakes.gpkg", draw = "water" }}]   # or building, boundary, label
# customers = "customers.csv"     # names to find on the map; left out with --public
# base_map = "https://tiles.example.org/{{z}}/{{x}}/{{y}}.png"   # offered on the page, off until ticked
# base_map_credit = "who made it"

[outputs]
# field_rasters = "auto"          # of all stations up to 20; or true, or false
# services_count = true           # which services each class of antenna brings, list or not
# cover_doubt = "auto"            # what one class of land cover more or less would change: "auto" in squares
                                  # with homes, true in all, false nowhere

[display]
# distance = "km"                 # or "mi": for what people read; files stay metric
# height = "m"                    # or "ft"
# language = "en"                 # or "de": of pages, of what commands end with, of layers in a GIS
"""


def write_new_scenario(folder: Path, elevation: list[Path], stations: Path | None) -> list[str]:
    """Write scenario.toml and blank tables to a folder, and return what is still missing, in sentences.

    elevation, stations : named in the scenario, relative where they lie inside the folder

    Raises InputError if the folder already holds one of the files, or an input does not exist.
    """
    _check_inputs(elevation, stations)
    files = {
        "scenario.toml": scenario_text(folder, elevation, stations),
        "patterns.csv": PATTERN_COLUMNS + "\n",
        "homes.csv": HOME_COLUMNS + "\n",
        "tiers.csv": table_text("tiers"),
        "prediction_spread.csv": table_text("prediction_spread"),
    }
    if stations is None:
        files["transmitters.csv"] = STATION_COLUMNS + "\n"
    # Looked for before anything is written, so that a refusal leaves the folder as it was.
    for name in files:
        if (folder / name).exists():
            raise InputError(
                f"{folder / name} is already there. `covermap new` replaces nothing. "
                "Name another folder, or move the file."
            )
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return missing_inputs(folder / "scenario.toml")


def scenario_text(folder: Path, elevation: list[Path], stations: Path | None) -> str:
    """Return the text of a new scenario file that will stand in a folder."""
    return TEMPLATE.format(
        name=json.dumps(folder.resolve().name, ensure_ascii=False),  # a JSON text is also a TOML text
        elevation=json.dumps([_as_written(path, folder) for path in elevation], ensure_ascii=False),
        stations=json.dumps(
            _as_written(stations, folder) if stations else "transmitters.csv", ensure_ascii=False
        ),
        plans=" | ".join(plan_names()),
    )


def missing_inputs(settings_path: Path) -> list[str]:
    """Return what a scenario file still lacks, one sentence each; an empty list is ready for `check`.

    Raises InputError if the file is not TOML.
    """
    values = read_toml(settings_path, "Correct that line.")
    folder = settings_path.parent
    transmitters = values.get("transmitters", {})
    missing = []
    if not values.get("terrain", {}).get("elevation"):
        missing.append("[terrain] elevation: name the elevation files; they must reach every mast.")
    stations = folder / str(transmitters.get("file", "transmitters.csv"))
    if not stations.exists() or (stations.suffix.lower() in CSV_SUFFIXES and _has_no_rows(stations)):
        missing.append(f"{stations.name}: add a row for each transmitter.")
    if not transmitters.get("channel_plan"):
        missing.append(f"[transmitters] channel_plan: one of {', '.join(plan_names())}.")
    lists = values.get("wanted", {})
    if not any(one.get(key) for one in lists.values() for key in ("services", "networks", "at_least")):
        missing.append("[wanted.main] services: name the services viewers want.")
    return missing


def _check_inputs(elevation: list[Path], stations: Path | None) -> None:
    for path in [*elevation, *([stations] if stations else [])]:
        if not path.exists():
            raise InputError(f"There is no file {path}. Give the path of a file that exists.")


def _as_written(path: Path, folder: Path) -> str:
    """Return a path as the scenario names it: relative inside the folder, absolute elsewhere."""
    absolute, base = path.resolve(), folder.resolve()
    return os.fspath(absolute.relative_to(base).as_posix() if absolute.is_relative_to(base) else absolute)


def _has_no_rows(path: Path) -> bool:
    # \0 is stripped too: an empty table may be UTF-16.
    return len([line for line in path.read_bytes().splitlines() if line.strip(b"\0\r\n\t ")]) < 2
