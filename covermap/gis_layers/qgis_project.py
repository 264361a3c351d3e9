"""Writes coverage.qgs: a QGIS project of a result, its paths relative, so that the folder can be moved."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import pandas as pd
import pyogrio

from covermap.gis_layers.layer_metadata import abstract_of
from covermap.gis_layers.page_layouts import layouts_element
from covermap.gis_layers.project_groups import LayerGroup, project_groups
from covermap.gis_layers.qgis_layers import reference_system
from covermap.gis_layers.qgis_themes import themes_element
from covermap.gis_layers.qml import QGIS_VERSION
from covermap.gis_layers.raster_styles import CANVAS_GREY
from covermap.result.coverage import GEOPACKAGE_FILE, Coverage
from covermap.result.whole_file import write_text
from covermap.wording.language import say, spoken

PROJECT_FILE = "coverage.qgs"
BOOKMARK_M = 5000.0  # around a mast
_MARGIN_SHARE = 0.03  # of the map around the grid when the project opens


def write_qgis_project(coverage: Coverage, folder: Path | None = None) -> Path:
    """Write coverage.qgs beside the GeoPackage and the rasters of a result; return its path.

    coverage : the result, its coverage.gpkg written
    """
    groups = project_groups(coverage)
    path = Path(folder or coverage.folder) / PROJECT_FILE
    write_text(path, _document(coverage, groups))
    return path


def _document(coverage: Coverage, groups: Sequence[LayerGroup]) -> str:
    """Return the whole project."""
    # Drawing order and tree differ on purpose; sorted() keeps layers of one depth as the tree has them.
    layers = sorted((layer for group in groups for layer in group.layers()), key=lambda layer: layer.depth)
    title = say("layer.project", name=coverage.run.get("name") or say("run.unnamed"))
    reference = reference_system(coverage.grid.crs_wkt)
    tree = "".join(group.tree_element for group in groups)
    drawn = "".join(f"<item>{layer.layer_id}</item>" for layer in layers)
    return (
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"
        f'<qgis projectname={quoteattr(title)} version="{QGIS_VERSION}">\n<homePath path=""/>\n'
        f"<title>{escape(title)}</title>\n<projectCrs>{reference}</projectCrs>\n"
        f"<layer-tree-group>\n<customproperties/>\n{tree}"
        f'<custom-order enabled="1">{drawn}</custom-order></layer-tree-group>\n'
        f"{_view(coverage, reference)}<projectlayers>\n{''.join(layer.element for layer in layers)}"
        f"</projectlayers>\n{_PROPERTIES}{themes_element(groups, coverage.lists[0])}"
        f"{_bookmarks(coverage, reference)}{layouts_element(coverage, groups, title)}"
        f"{_about(coverage, title)}</qgis>\n"
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
    text = abstract_of(coverage.run, say("layer.about"))
    return (
        f"<projectMetadata><type>dataset</type><title>{escape(title)}</title>"
        f"<abstract>{escape(text)}</abstract><language>{spoken()}</language></projectMetadata>\n"
    )


_PROPERTIES = (
    '<properties><SpatialRefSys><ProjectionsEnabled type="int">1</ProjectionsEnabled></SpatialRefSys>'
    '<Paths><Absolute type="bool">false</Absolute></Paths>'
    f'<Gui><CanvasColorRedPart type="int">{CANVAS_GREY}</CanvasColorRedPart>'
    f'<CanvasColorGreenPart type="int">{CANVAS_GREY}</CanvasColorGreenPart>'
    f'<CanvasColorBluePart type="int">{CANVAS_GREY}</CanvasColorBluePart></Gui>'
    '<Measurement><DistanceUnits type="QString">meters</DistanceUnits></Measurement></properties>\n'
)


def _bookmarks(coverage: Coverage, reference: str) -> str:
    """Return a bookmark for each mast, with some kilometres around it."""
    path = coverage.folder / GEOPACKAGE_FILE
    table = pyogrio.read_dataframe(path, layer="transmitters", columns=["mast"])
    found, group = [], quoteattr(say("layer.masts"))
    for number, (mast, place) in enumerate(_masts(table)):
        west, south, east, north = place.buffer(BOOKMARK_M).bounds
        ring = f"{west} {south}, {east} {south}, {east} {north}, {west} {north}, {west} {south}"
        found.append(
            f'<Bookmark id="mast_{number}" group={group} name={quoteattr(mast)} extent="POLYGON(({ring}))">'
            f"{reference}</Bookmark>\n"
        )
    return f"<Bookmarks>\n{''.join(found)}</Bookmarks>\n"


def _masts(table: pd.DataFrame) -> list:
    """Return name and place of each mast once, in order."""
    if "mast" not in table.columns:
        return []
    # Of several stations the first one's place: the bookmark shows kilometres around it.
    once = table.drop_duplicates("mast").dropna(subset=["mast"])
    return list(zip(once["mast"], once["geometry"], strict=True))


def _extent(coverage: Coverage) -> tuple[float, float, float, float]:
    grid = coverage.grid
    width, height = grid.cols * grid.cell_m, grid.rows * grid.cell_m
    edge = _MARGIN_SHARE * max(width, height)
    return grid.x_min - edge, grid.y_max - height - edge, grid.x_min + width + edge, grid.y_max + edge
