"""Writes coverage.qgs: a QGIS project of a result, its paths relative, so that the folder can be moved."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import pyogrio

from covermap.gis_layers.layer_metadata import abstract_of, metadata_body
from covermap.gis_layers.layer_styles import LayerStyle, styles_of_layer
from covermap.gis_layers.qgis_layers import (
    AREAS,
    OUTLINES,
    POINTS_ON_TOP,
    RASTERS,
    SHADING,
    ProjectLayer,
    raster_layer,
    reference_system,
    vector_layer,
)
from covermap.gis_layers.qml import QGIS_VERSION
from covermap.gis_layers.raster_styles import CANVAS_GREY, raster_body, raster_title, relief_body
from covermap.result.coverage import GEOPACKAGE_FILE, Coverage
from covermap.result.raster_catalogue import RASTERS_FOLDER
from covermap.result.whole_file import write_text

PROJECT_FILE = "coverage.qgs"
NEEDED, WHY, STATIONS, CELLS, RELIEF = (
    "What is needed", "Why", "Stations", "Cells and rasters", "Relief",
)  # fmt: skip
GROUPS = (NEEDED, WHY, STATIONS, CELLS, RELIEF)
"""Groups of the project, the topmost first."""

REASONS = ("deciding_service", "main_cause", "amplifier", "plan_flags")
"""Rasters of a list that say why; they stand in the group of that name."""

_MARGIN_SHARE = 0.03  # of the map around the grid when the project opens


def write_qgis_project(coverage: Coverage, descriptions: dict[str, str], folder: Path | None = None) -> Path:
    """Write coverage.qgs beside the GeoPackage and the rasters of a result; return its path.

    coverage : the result, its coverage.gpkg written
    descriptions : what each vector layer holds, by layer name
    """
    layers = _Layers(coverage, descriptions)
    groups = {
        NEEDED: layers.needed(),
        WHY: layers.why(),
        STATIONS: layers.stations(),
        CELLS: layers.cells_and_rasters(),
        RELIEF: layers.relief(),
    }
    path = Path(folder or coverage.folder) / PROJECT_FILE
    write_text(path, _document(coverage, groups))
    return path


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
            if geometry is not None
        }

    def needed(self) -> list[ProjectLayer]:
        """Return dead zones, neighbourhoods and tier areas."""
        first = self.coverage.lists[0]
        layers = self._per_list("dead_zones", "Dead zones", OUTLINES)
        layers += self._per_list("neighbourhoods", "Neighbourhoods", OUTLINES, _outlines_first, lists=[first])
        return layers + self._per_list("tier_areas", "Antenna needed", AREAS, open_legend=True)

    def why(self) -> list[ProjectLayer]:
        """Return ridges, survey points, contours, and the rasters that say why."""
        layers = self._plain("ridges", "Ridges")
        layers += self._per_list("survey_points", "Survey points", POINTS_ON_TOP, shown=False)
        layers += self._plain("contours", "Field contours", shown=False)
        return layers + [self._raster(name) for name in self.rasters if _is_reason(name)]

    def stations(self) -> list[ProjectLayer]:
        """Return the transmitters."""
        return self._plain("transmitters", "Stations")

    def cells_and_rasters(self) -> list[ProjectLayer]:
        """Return the cells as squares, and every raster."""
        layers = self._per_list("cells", "Cells", RASTERS, shown=False)
        return layers + [self._raster(name) for name in self.rasters if not _is_reason(name)]

    def relief(self) -> list[ProjectLayer]:
        """Return the ground as relief."""
        if not self.coverage.has("ground"):
            return []
        file = f"{RASTERS_FOLDER}/ground.tif"
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

    def _raster(self, name: str) -> ProjectLayer:
        title = raster_title(self.coverage, name)
        parts = name.split("/")
        if len(parts) == 2 and parts[0] in self.coverage.lists and len(self.coverage.lists) > 1:
            title = f"{title}: {parts[0]}"
        body = raster_body(self.coverage, name)
        return raster_layer(f"raster_{name}", title, f"{RASTERS_FOLDER}/{name}.tif", body, self._crs)

    def _metadata(self, table: str, title: str) -> str:
        return metadata_body(self.coverage.run, title, self.descriptions.get(table, ""), self._crs)


def _is_reason(raster: str) -> bool:
    return raster.split("/")[-1] in REASONS


def _outlines_first(styles: list[LayerStyle]) -> list[LayerStyle]:
    """Return neighbourhoods as outlines first, so that they do not hide the tiers under them."""
    return sorted(styles, key=lambda style: style.name != "Outlines and names")


def _document(coverage: Coverage, groups: dict[str, list[ProjectLayer]]) -> str:
    """Return the whole project."""
    layers = sorted((layer for part in groups.values() for layer in part), key=lambda layer: layer.depth)
    title = f"{coverage.run.get('name') or 'Result'}: which antenna is needed"
    reference = reference_system(coverage.grid.crs_wkt)
    tree = "".join(_group(name, groups[name]) for name in GROUPS)
    drawn = "".join(f"<item>{layer.layer_id}</item>" for layer in layers)
    return (
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"
        f'<qgis projectname={quoteattr(title)} version="{QGIS_VERSION}">\n<homePath path=""/>\n'
        f"<title>{escape(title)}</title>\n<projectCrs>{reference}</projectCrs>\n"
        f"<layer-tree-group>\n<customproperties/>\n{tree}"
        f'<custom-order enabled="1">{drawn}</custom-order></layer-tree-group>\n'
        f"{_view(coverage, reference)}<projectlayers>\n{''.join(layer.element for layer in layers)}"
        f"</projectlayers>\n{_PROPERTIES}{_about(coverage, title)}</qgis>\n"
    )


def _view(coverage: Coverage, reference: str) -> str:
    """Return what the map shows when the project opens."""
    west, south, east, north = _extent(coverage)
    return (
        '<mapcanvas annotationsVisible="1" name="theMapCanvas"><units>meters</units>'
        f"<extent><xmin>{west}</xmin><ymin>{south}</ymin><xmax>{east}</xmax><ymax>{north}</ymax></extent>"
        f"<rotation>0</rotation><destinationsrs>{reference}</destinationsrs></mapcanvas>\n"
        f'<ProjectViewSettings UseProjectScales="0"><DefaultViewExtent xmin="{west}" ymin="{south}" '
        f'xmax="{east}" ymax="{north}">{reference}</DefaultViewExtent></ProjectViewSettings>\n'
    )


def _about(coverage: Coverage, title: str) -> str:
    """Return the project's own metadata, with every caution."""
    text = abstract_of(coverage.run, "which class of receiving antenna every place needs.")
    return (
        f"<projectMetadata><type>dataset</type><title>{escape(title)}</title>"
        f"<abstract>{escape(text)}</abstract><language>en</language></projectMetadata>\n"
    )


_PROPERTIES = (
    '<properties><SpatialRefSys><ProjectionsEnabled type="int">1</ProjectionsEnabled></SpatialRefSys>'
    '<Paths><Absolute type="bool">false</Absolute></Paths>'
    f'<Gui><CanvasColorRedPart type="int">{CANVAS_GREY}</CanvasColorRedPart>'
    f'<CanvasColorGreenPart type="int">{CANVAS_GREY}</CanvasColorGreenPart>'
    f'<CanvasColorBluePart type="int">{CANVAS_GREY}</CanvasColorBluePart></Gui>'
    '<Measurement><DistanceUnits type="QString">meters</DistanceUnits></Measurement></properties>\n'
)


def _group(name: str, layers: Iterable[ProjectLayer]) -> str:
    """Return a group of the layer tree; the group of cells and rasters starts off."""
    on = name != CELLS
    return (
        f'<layer-tree-group name={quoteattr(name)} checked="{"Qt::Checked" if on else "Qt::Unchecked"}" '
        f'expanded="{int(on)}">\n<customproperties/>\n{"".join(layer.tree_element for layer in layers)}'
        "</layer-tree-group>\n"
    )


def _extent(coverage: Coverage) -> tuple[float, float, float, float]:
    grid = coverage.grid
    width, height = grid.cols * grid.cell_m, grid.rows * grid.cell_m
    edge = _MARGIN_SHARE * max(width, height)
    return grid.x_min - edge, grid.y_max - height - edge, grid.x_min + width + edge, grid.y_max + edge
