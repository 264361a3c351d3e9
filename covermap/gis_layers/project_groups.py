"""The layers of a QGIS project, in groups: what is needed, why, stations, cells and rasters, relief."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import quoteattr

import pandas as pd
import pyogrio

from covermap.gis_layers.layer_metadata import metadata_body
from covermap.gis_layers.layer_styles import LayerStyle, styles_of_layer
from covermap.gis_layers.qgis_layers import (
    AREAS,
    OUTLINES,
    POINTS_ON_TOP,
    RASTERS,
    SHADING,
    ProjectLayer,
    raster_layer,
    vector_layer,
)
from covermap.gis_layers.raster_styles import raster_body, raster_title, relief_body
from covermap.result.coverage import GEOPACKAGE_FILE, Coverage
from covermap.result.raster_catalogue import OF_STATION, layer_of

NEEDED, WHY, STATIONS, CELLS, RELIEF = (
    "What is needed", "Why", "Stations", "Cells and rasters", "Relief",
)  # fmt: skip
GROUPS = (NEEDED, WHY, STATIONS, CELLS, RELIEF)
"""Groups of the project, the topmost first."""

REASONS = ("deciding_service", "main_cause", "amplifier", "plan_flags")
"""Rasters of a list that say why; they stand in the group of that name."""

MOST_SERVICES = 20  # of a list that get a layer each where a raster has a band a service
# _subgroup_of() finds the sixth by its place: rasters there are told by how their name ends.
_SUBGROUPS = (
    ("Class and how sure", ("tier", "tier_chance", "margin", "stored_margin", "tier_without_deciding")),
    ("Aim", ("aim", "second_aim", "aim_from", "aim_to")),
    ("Each service", ("service_chance",)),
    ("Each service, one class lower", ("service_chance_one_lower",)),
    ("Why each service is weak", ("service_cause", "service_interferer", "service_path")),
    ("Signals 3 dB weaker and stronger", ("3db_weaker", "3db_stronger")),
    ("Leaves, and another class of land cover", ("tier_in_leaf", "tier_cover_doubt")),
    ("Field of each station", ("field",)),
    ("Field with offsets from readings", ("field_adjusted",)),
    ("Services by class", ("services_count", "service_tiers")),
    ("Ground, homes and remarks", ("ground", "homes", "homes_without_roof", "flags")),
)
_MORE = "More"


@dataclass(frozen=True)
class LayerGroup:
    """A group of the layer tree. on : whether it is ticked when the project opens"""

    name: str
    parts: tuple[ProjectLayer | LayerGroup, ...]
    on: bool = True
    open: bool = True

    def layers(self) -> Iterator[ProjectLayer]:
        """Yield its layers and those of its subgroups."""
        for part in self.parts:
            if isinstance(part, LayerGroup):
                yield from part.layers()
            else:
                yield part

    @property
    def tree_element(self) -> str:
        """Return it as a branch of the layer tree."""
        checked = "Qt::Checked" if self.on else "Qt::Unchecked"
        inner, opened = "".join(part.tree_element for part in self.parts), int(self.open)
        return (
            f'<layer-tree-group name={quoteattr(self.name)} checked="{checked}" expanded="{opened}">\n'
            f"<customproperties/>\n{inner}</layer-tree-group>\n"
        )


def project_groups(coverage: Coverage, descriptions: dict[str, str]) -> list[LayerGroup]:
    """Return the groups of a result's project in the order of GROUPS; what it lacks is left out.

    coverage : the result, its coverage.gpkg written; descriptions : what each vector layer holds, by name
    """
    layers = _Layers(coverage, descriptions)
    return [
        LayerGroup(NEEDED, tuple(layers.needed())),
        LayerGroup(WHY, tuple(layers.reasons())),
        LayerGroup(STATIONS, tuple(layers.stations())),
        LayerGroup(CELLS, tuple(layers.cells_and_rasters()), on=False, open=False),
        LayerGroup(RELIEF, tuple(layers.relief())),
    ]


class _Layers:
    """Makes the layers a result has; what it lacks is left out."""

    def __init__(self, coverage: Coverage, descriptions: dict[str, str]) -> None:
        self.coverage = coverage
        self.descriptions = descriptions
        self.rasters = coverage.raster_names()
        path = coverage.folder / GEOPACKAGE_FILE
        self.columns = {
            str(name): list(pyogrio.read_info(path, layer=name)["fields"])
            for name, geometry in pyogrio.list_layers(path)
            # Tables without a geometry are no layers to draw.
            if geometry is not None
        }
        self.station_names = self._station_names()

    def _station_names(self) -> dict[str, str]:
        """Return service and mast by station_id."""
        if "transmitters" not in self.columns:
            return {}
        path, names = self.coverage.folder / GEOPACKAGE_FILE, ["station_id", "service", "mast"]
        table = pd.DataFrame(pyogrio.read_dataframe(path, layer="transmitters", read_geometry=False))
        present = [name for name in names if name in table.columns]
        return {row.iloc[0]: ", ".join(map(str, row.iloc[1:])) for _, row in table[present].iterrows()}

    def needed(self) -> list[ProjectLayer]:
        """Return dead zones, neighbourhoods and tier areas."""
        first = self.coverage.lists[0]
        layers = self._per_list("dead_zones", "Dead zones", OUTLINES)
        layers += self._per_list("neighbourhoods", "Neighbourhoods", OUTLINES, _outlines_first, lists=[first])
        return layers + self._per_list("tier_areas", "Antenna needed", AREAS, open_legend=True)

    def reasons(self) -> list[ProjectLayer]:
        """Return ridges, survey points, contours, and the rasters that say why."""
        layers = self._plain("ridges", "Ridges", shown=False)
        layers += self._per_list("survey_points", "Survey points", POINTS_ON_TOP, shown=False)
        layers += self._plain("contours", "Field contours", shown=False)
        return layers + [self._raster(name) for name in self.rasters if _is_reason(name)]

    def stations(self) -> list[ProjectLayer]:
        """Return the transmitters."""
        return self._plain("transmitters", "Stations")

    def cells_and_rasters(self) -> list[ProjectLayer | LayerGroup]:
        """Return the cells as squares, and every raster in subgroups."""
        subgroups: dict[str, list[ProjectLayer]] = {
            name: [] for name in (*(name for name, _ in _SUBGROUPS), _MORE)
        }
        for name in self.rasters:
            if not _is_reason(name):
                subgroups[_subgroup_of(name)] += self._rasters(name)
        found = [LayerGroup(name, tuple(parts), open=False) for name, parts in subgroups.items() if parts]
        return [*self._per_list("cells", "Cells", RASTERS, shown=False), *found]

    def relief(self) -> list[ProjectLayer]:
        """Return the ground as relief."""
        if not self.coverage.has("ground"):
            return []
        file = self._file("ground")
        return [
            raster_layer(
                "relief_of_ground", "Relief", file, relief_body(), self._crs, shown=True, depth=SHADING
            )
        ]

    @property
    def _crs(self) -> str:
        return self.coverage.grid.crs_wkt

    def _per_list(
        self,
        table: str,
        title: str,
        depth: int,
        order: Callable[[list[LayerStyle]], list[LayerStyle]] | None = None,
        *,
        lists: Sequence[str] | None = None,
        shown: bool = True,
        open_legend: bool = False,
    ) -> list[ProjectLayer]:
        """Return a layer for each wanted list; the first is shown."""
        if table not in self.columns:
            return []
        names = self.coverage.lists
        layers = []
        for name in lists or names:
            styles = styles_of_layer(table, self.columns[table], [name], self.coverage.tier_names)
            layers.append(
                vector_layer(
                    f"{table}_{name}",
                    title if len(names) == 1 else f"{title}: {name}",
                    GEOPACKAGE_FILE,
                    table,
                    order(styles) if order else styles,
                    self._crs,
                    # no quotes to double: a list's name has letters, digits, - and _ only
                    where=f"\"wanted_list\" = '{name}'",
                    metadata=self._metadata(table, title),
                    shown=shown and name == names[0],
                    open_legend=open_legend and name == names[0],
                    depth=depth,
                )
            )
        return layers

    def _plain(self, table: str, title: str, shown: bool = True) -> list[ProjectLayer]:
        """Return a layer that is the same for every list."""
        if table not in self.columns:
            return []
        styles = styles_of_layer(table, self.columns[table], self.coverage.lists, self.coverage.tier_names)
        metadata = self._metadata(table, title)
        return [
            vector_layer(
                f"{table}_layer",
                title,
                GEOPACKAGE_FILE,
                table,
                styles,
                self._crs,
                metadata=metadata,
                shown=shown,
            )
        ]

    def _rasters(self, name: str) -> list[ProjectLayer]:
        """Return the layers of a raster: one, or one a service where it has a band a service."""
        kind = layer_of(name)
        # bands == 0: as many as there are services.
        services = self.coverage.services(name.split("/")[0]) if kind.of_list and kind.bands == 0 else ()
        if not services or len(services) > MOST_SERVICES:
            return [self._raster(name)]
        return [self._raster(name, band, service) for band, service in enumerate(services, start=1)]

    def _raster(self, name: str, band: int = 1, service: str = "") -> ProjectLayer:
        title = raster_title(self.coverage, name)
        parts = name.split("/")
        if service:
            title = f"{service}: {title[0].lower()}{title[1:]}"
        elif parts[0] in OF_STATION and parts[-1] in self.station_names:
            title = f"{self.station_names[parts[-1]]} ({parts[-1]}), dB(µV/m)"
        if len(parts) == 2 and parts[0] in self.coverage.lists and len(self.coverage.lists) > 1:
            title = f"{title}: {parts[0]}"
        body = raster_body(self.coverage, name, band)
        # The first keeps the plain key, by which the themes look for it.
        key = f"raster_{name}" if band == 1 else f"raster_{name}_{band}"
        return raster_layer(key, title, self._file(name), body, self._crs)

    def _file(self, raster: str) -> str:
        """Return the file of a raster as the project names it."""
        return self.coverage.path(raster).relative_to(self.coverage.folder).as_posix()

    def _metadata(self, table: str, title: str) -> str:
        return metadata_body(self.coverage.run, title, self.descriptions.get(table, ""), self._crs)


def _subgroup_of(raster: str) -> str:
    """Return the subgroup a raster stands in."""
    kind = layer_of(raster).kind
    shifts = _SUBGROUPS[5][1]
    for name, kinds in _SUBGROUPS:
        if kind in kinds or (kinds is shifts and kind.endswith(shifts)):
            return name
    return _MORE


def _is_reason(raster: str) -> bool:
    return raster.split("/")[-1] in REASONS


def _outlines_first(styles: list[LayerStyle]) -> list[LayerStyle]:
    """Return neighbourhoods as outlines first, so that they do not hide the tiers under them."""
    return sorted(styles, key=lambda style: style.name != "Outlines and names")
