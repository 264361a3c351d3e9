"""The scenario file as checked settings; attribute names are the keys of the TOML file."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from covermap.constants import ITM_CLIMATES
from covermap.errors import InputError
from covermap.scenario.coordinates import PAIR_FORMS, read_position
from covermap.scenario.file_names import list_name
from covermap.scenario.setting_types import (
    InputPath,
    InputPaths,
    Latitude,
    Longitude,
    OutputPath,
    Section,
    wrong,
)
from covermap.tables.noise import ENVIRONMENTS

BY_LAND_COVER = "by_land_cover"
TILE_ADDRESS = r"https://[A-Za-z0-9.-]+(?::\d{1,5})?/[A-Za-z0-9._~/{}?=&%@-]*"


class GridSettings(Section):
    """[grid]: where cells are. Without an area the elevation's extent is used."""

    cell_m: float = Field(default=100.0, ge=5.0, le=10_000.0)
    crs: str = Field(default="auto", pattern=r"^(auto|(?i:EPSG):\d{4,6})$")
    area: InputPath | None = None
    west: Longitude | None = None  # west may be greater than east: across the 180 degree meridian
    south: Latitude | None = None
    east: Longitude | None = None
    north: Latitude | None = None

    @model_validator(mode="after")
    def _check_area(self) -> GridSettings:
        sides = {"west": self.west, "south": self.south, "east": self.east, "north": self.north}
        given = [name for name, value in sides.items() if value is not None]
        if given and len(given) < 4:
            missing = [name for name in sides if name not in given]
            raise wrong(
                "sides", f"Missing: {', '.join(missing)}. Give all four sides, or none.", ", ".join(given)
            )
        if given and self.area:
            raise wrong("sides", "Keep either area or the four sides.", "area and west, south, east, north")
        if self.south is not None and self.north is not None and self.south >= self.north:
            raise wrong(
                "sides",
                "south must be less than north. Exchange them, or look at their signs.",
                f"south {self.south:g}, north {self.north:g}",
            )
        return self


class TerrainSettings(Section):
    """[terrain]: elevation, land cover and sea."""

    elevation: InputPaths = Field(min_length=1)
    elevation_unit: Literal["m", "ft", "dm", "cm"] | None = None  # only where the file does not say
    kind: Literal["bare_earth", "with_canopy"] = "bare_earth"
    bare_earth: InputPaths = Field(default=[])
    land_cover: InputPath | None = None
    land_cover_table: InputPath | None = None
    clutter_height: InputPath | None = None
    assumed_clutter_m: float = Field(default=10.0, ge=0.0, le=40.0)  # only without any of the three
    sea: InputPath | None = None
    credits: list[str] = Field(default=[])  # sentences on the data that stand on every output

    @property
    def tells_clutter(self) -> bool:
        """Return whether the data say what stands on the ground: classes, heights or a canopy."""
        return bool(self.land_cover or self.clutter_height or self.kind == "with_canopy")

    @model_validator(mode="after")
    def _check_kind(self) -> TerrainSettings:
        if self.kind == "with_canopy" and not self.bare_earth:
            raise wrong(
                "bare_earth",
                "Elevation with trees and roofs in it also needs bare_earth = [...] for the two ends of a "
                "path. Add the bare-earth elevation.",
                'kind = "with_canopy" without bare_earth',
            )
        if self.kind == "with_canopy" and self.clutter_height:
            raise wrong(
                "clutter_height",
                "Both say how high trees and buildings stand. Keep clutter_height with the bare earth as "
                'elevation, or kind = "with_canopy" without it.',
                'clutter_height beside kind = "with_canopy"',
            )
        if self.land_cover_table and not self.land_cover:
            raise wrong(
                "land_cover",
                "The table has no classes to explain. Add land_cover, or remove land_cover_table.",
                "land_cover_table without land_cover",
            )
        return self


class TransmitterSettings(Section):
    """[transmitters]: the station file, and what its rows leave unsaid."""

    file: InputPath
    layer: str | None = None  # of a GeoPackage that has several
    channel_plan: str | None = None
    default_system: str = "atsc1_8vsb"
    patterns: InputPath | None = None


class WantedSettings(Section):
    """[wanted.NAME]: services a viewer wants; without services all wanted ones of the station file.

    networks : services of many transmitters, of which any in reach does
    """

    services: list[str] = Field(default=[])
    networks: list[str] = Field(default=[])
    at_least: int | None = Field(default=None, ge=1)

    @property
    def named(self) -> list[str]:
        """Return the services the list names, none where it is of everything."""
        return self.services or self.networks

    @model_validator(mode="after")
    def _check_content(self) -> WantedSettings:
        if self.services and self.networks:
            raise wrong(
                "services_and_networks",
                "Where no transmitter is in reach, a service is unknown and a network not received. Keep one "
                "of the two, or make two lists.",
                "services beside networks",
            )
        if not self.named and self.at_least is None:
            raise wrong(
                "empty_list",
                "A wanted list needs services = [...] or networks = [...], at_least = a number, or both. "
                "Name the services.",
                "neither services nor at_least",
            )
        return self


class PredictionSettings(Section):
    """[prediction]: model and radio climate."""

    model: Literal["p1812", "itm", "free_space"] = "p1812"
    second_opinion: Literal["itm", "curves"] | None = None
    time_rule: Literal["us_90_10", "gt_50_1"] = "us_90_10"
    reach_km: float = Field(default=250.0, ge=1.0, le=1000.0)
    # The clutter of a P.1812 profile starts 50 m from both ends; the sweep takes steps up to 100 m.
    profile_step_m: float = Field(default=50.0, ge=50.0, le=100.0)
    n0: float = Field(default=325.0, ge=200.0, le=500.0)
    dn: float = Field(default=45.0, gt=0.0, le=150.0)  # a positive number; the effective earth needs dn < 157
    climate: Literal[ITM_CLIMATES] = "continental_temperate"  # type: ignore[valid-type]
    ground_permittivity: float = Field(default=15.0, ge=1.0, le=100.0)
    ground_conductivity_s_m: float = Field(default=0.005, gt=0.0, le=10.0)
    calibration: InputPath | None = None

    @model_validator(mode="after")
    def _check_itm(self) -> PredictionSettings:
        if "itm" in (self.model, self.second_opinion) and not 250.0 <= self.n0 <= 400.0:
            raise wrong(
                "n0",
                "The irregular terrain model needs n0 from 250 to 400 N-units. Change n0 or the model.",
                f"n0 = {self.n0:g}",
            )
        if self.model == self.second_opinion:
            raise wrong(
                "second_opinion",
                "A second opinion must be another model's. Write one of itm, curves, or leave the key out.",
                f'second_opinion = "{self.second_opinion}" beside the same model',
            )
        return self


class ReceptionSettings(Section):
    """[reception]: how sure, in what noise, with which installations."""

    confidence_percent: float = Field(default=90.0, ge=1.0, le=99.0)
    prediction_error_db: Literal["auto"] | Annotated[float, Field(ge=0.5, le=20.0)] = "auto"
    prediction_spread: InputPath | None = None
    # by_land_cover: that of the class a home stands in; residential where no class is known
    noise_environment: Literal[(BY_LAND_COVER, *ENVIRONMENTS)] = BY_LAND_COVER  # type: ignore[valid-type]
    building: Literal["traditional", "thermally_efficient"] = "traditional"
    antenna_tiers: InputPath | None = None
    antennas: InputPath | None = None
    tuner_noise_figure_db: float = Field(default=7.0, ge=0.0, le=20.0)
    dead_zone_services: int = Field(default=1, ge=1)
    home_correlation: float = Field(default=0.25, ge=0.0, le=0.95)
    site_correlation: float = Field(default=0.85, ge=0.0, le=1.0)

    @model_validator(mode="after")
    def _check_spread(self) -> ReceptionSettings:
        if self.prediction_spread and self.prediction_error_db != "auto":
            raise wrong(
                "prediction_spread",
                "The number is one spread for all paths, the table one by what stands in their way. Keep one "
                "of the two.",
                f"prediction_error_db = {self.prediction_error_db:g} beside prediction_spread",
            )
        return self

    @model_validator(mode="after")
    def _check_correlations(self) -> ReceptionSettings:
        if self.site_correlation < self.home_correlation:
            raise wrong(
                "correlations",
                "Signals of one site have at least in common what all signals at a home have. Give "
                "site_correlation a number from home_correlation to 1.",
                f"site_correlation {self.site_correlation:g}, home_correlation {self.home_correlation:g}",
            )
        return self


class HomesSettings(Section):
    """[homes]: points or polygons with a count, or a raster of homes per cell."""

    file: InputPath
    count: str | None = None
    year: int | None = Field(default=None, ge=1900, le=2100)
    roof_access_percent: str | None = None
    building: str | None = None  # a column: traditional or thermally_efficient


def _as_lon_lat(value: object) -> object:
    """Return a position that is written as text as longitude and latitude, anything else as it is."""
    if not isinstance(value, str):
        return value
    try:
        latitude_deg, longitude_deg = read_position(value, "depot")
    except InputError as error:
        raise wrong("depot", PAIR_FORMS, f'"{value}"') from error
    return longitude_deg, latitude_deg


class AreasSettings(Section):
    """[areas]: neighbourhoods, the service area, and names to find on the map."""

    neighbourhoods: InputPath | None = None
    neighbourhood_key: str | None = None
    neighbourhood_name: str | None = None
    service_area: InputPath | None = None
    # [lon, lat], or text as people write a position, latitude first
    depot: Annotated[tuple[Longitude, Latitude] | None, BeforeValidator(_as_lon_lat)] = None
    radius_km: float | None = Field(default=None, gt=0.0, le=1000.0)
    places: InputPath | None = None

    @model_validator(mode="after")
    def _check_depot(self) -> AreasSettings:
        if (self.depot is None) != (self.radius_km is None):
            found = "depot without radius_km" if self.depot else "radius_km without depot"
            raise wrong("depot", "The two belong together. Give both, or neither.", found)
        if self.depot is not None and self.service_area:
            raise wrong("depot", "Keep one of the two.", "service_area and depot")
        return self


def _as_table(value: object) -> object:
    return {"file": value} if isinstance(value, str | Path) else value


class ContextLayer(Section):
    """One layer that the map page draws for orientation; a path alone stands for file."""

    file: InputPath
    draw: Literal["road", "water", "building", "boundary", "label"] | None = None  # None: by its geometry
    label: str | None = None  # the column with the words of a label


class MapSettings(Section):
    """[map]: what the page of the map shows for orientation, beside the result."""

    context: list[Annotated[ContextLayer, BeforeValidator(_as_table)]] = Field(default=[])
    base_map: str | None = Field(default=None, max_length=300)
    base_map_credit: str = Field(default="", max_length=200)
    customers: InputPath | None = None  # names to find on the page; never in a public result

    @model_validator(mode="after")
    def _check_base_map(self) -> MapSettings:
        if self.base_map is None:
            return self
        if not re.fullmatch(TILE_ADDRESS, self.base_map) or any(
            self.base_map.count(part) != 1 for part in ("{z}", "{x}", "{y}")
        ):
            raise wrong(
                "base_map",
                "It must be one https address with {z}, {x} and {y} in it, such as "
                "https://tiles.example.org/{z}/{x}/{y}.png. Ask who serves the tiles.",
                f'base_map = "{self.base_map}"',
            )
        if not self.base_map_credit.strip():
            raise wrong(
                "base_map_credit",
                "Who makes a map wants to be named beside it. Add base_map_credit with their words.",
                "base_map without base_map_credit",
            )
        return self


class BusinessSettings(Section):
    """[business]: prices for the stock table."""

    prices: InputPath


class OutputsSettings(Section):
    """[outputs]: which rasters are written."""

    field_rasters: Literal["auto"] | bool = "auto"
    services_count: bool = True
    cover_doubt: Literal["auto"] | bool = "auto"


class DisplaySettings(Section):
    """[display]: units of what people read; files stay metric."""

    distance: Literal["km", "mi"] = "km"
    height: Literal["m", "ft"] = "m"
    language: Literal["en", "de"] = "en"


class Settings(Section):
    """A whole scenario file. Paths are absolute."""

    name: str = Field(default="", max_length=255)
    output: OutputPath = Field(default=Path("out"), validate_default=True)
    grid: GridSettings = GridSettings()
    terrain: TerrainSettings
    transmitters: TransmitterSettings
    wanted: dict[Annotated[str, AfterValidator(list_name)], WantedSettings] = Field(default={})
    prediction: PredictionSettings = PredictionSettings()
    reception: ReceptionSettings = ReceptionSettings()
    homes: HomesSettings | None = None
    areas: AreasSettings | None = None
    business: BusinessSettings | None = None
    map: MapSettings = MapSettings()
    outputs: OutputsSettings = OutputsSettings()
    display: DisplaySettings = DisplaySettings()
