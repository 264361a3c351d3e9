"""The layers of a QGIS project, in groups: what is needed, why, stations, cells and rasters, relief."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import quoteattr

import pandas as pd
import pyogrio

from covermap.gis_layers.layer_metadata import description_of, metadata_body
from covermap.gis_layers.layer_styles import OUTLINED, LayerStyle, styles_of_layer
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
from covermap.wording.language import say
from covermap.wording.tier_names import spoken_tier_names

REASONS = ("deciding_service", "main_cause", "amplifier", "plan_flags")
"""Rasters of a list that say why; they stand in the group of that name."""

MOST_SERVICES = 20  # of a list that get a layer each where a raster has a band a service
_SHIFTS = ("3db_weaker", "3db_stronger")  # rasters there are told by how their name ends
_SUBGROUPS = (
    ("tier", ("tier", "tier_chance", "margin", "stored_margin", "tier_without_deciding")),
    ("aim", ("aim", "second_aim", "aim_from", "aim_to")),
    ("service_chance", ("service_chance",)),
    ("service_chance_one_lower", ("service_chance_one_lower",)),
    ("service_cause", ("service_cause", "service_interferer", "service_path")),
    ("shifted", _SHIFTS),
    ("local", ("tier_in_leaf", "tier_cover_doubt")),
    ("field", ("field",)),
    ("field_adjusted", ("field_adjusted",)),
    ("services", ("services_count", "service_tiers")),
    ("ground", ("ground", "homes", "homes_without_roof", "flags")),
)
_MORE = "more"
GROUP_PROPERTY = "covermap/group"  # covermap/qgis_plugin/load_result.py reads it


@dataclass(frozen=True)
class LayerGroup:
    """A group of the layer tree. on : whether it is ticked when the project opens

    key : by which the plugin knows it, whatever the language of its name; empty for subgroups
    """

    name: str
    parts: tuple[ProjectLayer | LayerGroup, ...]
    on: bool = True
    open: bool = True
    key: str = ""

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
            f"{self._properties}\n{inner}</layer-tree-group>\n"
        )

    @property
    def _properties(self) -> str:
        if not self.key:
            return "<customproperties/>"
        key = f'<Option name="{GROUP_PROPERTY}" type="QString" value="{self.key}"/>'
        return f'<customproperties><Option type="Map">{key}</Option></customproperties>'


def project_groups(coverage: Coverage) -> list[LayerGroup]:
    """Return the groups of a result's project, the topmost first; what it lacks is left out.

    coverage : the result, its coverage.gpkg written
    """
    layers = _Layers(coverage)
    return [
        LayerGroup(say("qgis.needed"), tuple(layers.needed()), key="needed"),
        LayerGroup(say("qgis.why"), tuple(layers.reasons()), key="why"),
        LayerGroup(say("qgis.stations"), tuple(layers.stations()), key="stations"),
        LayerGroup(say("qgis.cells"), tuple(layers.cells_and_rasters()), on=False, open=False, key="cells"),
        LayerGroup(say("qgis.relief"), tuple(layers.relief()), key="relief"),
    ]


class _Layers:
    """Makes the layers a result has; what it lacks is left out."""

    def __init__(self, coverage: Coverage) -> None:
        self.coverage = coverage
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
        layers = self._per_list("dead_zones", OUTLINES)
        layers += self._per_list("neighbourhoods", OUTLINES, _outlines_first, lists=[first])
        return layers + self._per_list("tier_areas", AREAS, open_legend=True)

    def reasons(self) -> list[ProjectLayer]:
        """Return ridges, survey points, contours, and the rasters that say why."""
        layers = self._plain("ridges", shown=False)
        layers += self._per_list("survey_points", POINTS_ON_TOP, shown=False)
        layers += self._plain("contours", shown=False)
        return layers + [self._raster(name) for name in self.rasters if _is_reason(name)]

    def stations(self) -> list[ProjectLayer]:
        """Return the transmitters."""
        return self._plain("transmitters")

    def cells_and_rasters(self) -> list[ProjectLayer | LayerGroup]:
        """Return the cells as squares, and every raster in subgroups."""
        subgroups: dict[str, list[ProjectLayer]] = {
            name: [] for name in (*(name for name, _ in _SUBGROUPS), _MORE)
        }
        for name in self.rasters:
            if not _is_reason(name):
                subgroups[_subgroup_of(name)] += self._rasters(name)
        found = [
            LayerGroup(say(f"qgis.group.{key}"), tuple(parts), open=False)
            for key, parts in subgroups.items()
            if parts
        ]
        return [*self._per_list("cells", RASTERS, shown=False), *found]

    def relief(self) -> list[ProjectLayer]:
        """Return the ground as relief."""
        if not self.coverage.has("ground"):
            return []
        file = self._file("ground")
        title = say("qgis.relief")
        return [
            raster_layer("relief_of_ground", title, file, relief_body(), self._crs, shown=True, depth=SHADING)
        ]

    @property
    def _tier_names(self) -> list[str]:
        return spoken_tier_names(self.coverage.tier_names)

    @property
    def _crs(self) -> str:
        return self.coverage.grid.crs_wkt

    def _per_list(
        self,
        table: str,
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
        names, title = self.coverage.lists, say(f"qgis.layer.{table}")
        layers = []
        for name in lists or names:
            styles = styles_of_layer(table, self.columns[table], [name], self._tier_names)
            layers.append(
                vector_layer(
                    f"{table}_{name}",
                    title if len(names) == 1 else say("qgis.of_list", title=title, list=name),
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

    def _plain(self, table: str, shown: bool = True) -> list[ProjectLayer]:
        """Return a layer that is the same for every list."""
        if table not in self.columns:
            return []
        styles = styles_of_layer(table, self.columns[table], self.coverage.lists, self._tier_names)
        title = say(f"qgis.layer.{table}")
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
            title = f"{service}: {title}"
        elif parts[0] in OF_STATION and parts[-1] in self.station_names:
            title = f"{self.station_names[parts[-1]]} ({parts[-1]}), dB(µV/m)"
        if len(parts) == 2 and parts[0] in self.coverage.lists and len(self.coverage.lists) > 1:
            title = say("qgis.of_list", title=title, list=parts[0])
        body = raster_body(self.coverage, name, band)
        # The first keeps the plain key, by which the themes look for it.
        key = f"raster_{name}" if band == 1 else f"raster_{name}_{band}"
        return raster_layer(key, title, self._file(name), body, self._crs)

    def _file(self, raster: str) -> str:
        """Return the file of a raster as the project names it."""
        return self.coverage.path(raster).relative_to(self.coverage.folder).as_posix()

    def _metadata(self, table: str, title: str) -> str:
        return metadata_body(self.coverage.run, title, description_of(table), self._crs)


def _subgroup_of(raster: str) -> str:
    """Return the subgroup a raster stands in."""
    kind = layer_of(raster).kind
    for name, kinds in _SUBGROUPS:
        if kind in kinds or (kinds is _SHIFTS and kind.endswith(_SHIFTS)):
            return name
    return _MORE


def _is_reason(raster: str) -> bool:
    return raster.split("/")[-1] in REASONS


def _outlines_first(styles: list[LayerStyle]) -> list[LayerStyle]:
    """Return neighbourhoods as outlines first, so that they do not hide the tiers under them."""
    return sorted(styles, key=lambda style: style.name != say(OUTLINED))
