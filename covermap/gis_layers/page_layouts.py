"""Page layouts of a QGIS project, A4 and Letter: map, legend, scale, cautions and credit on one page."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import NAMESPACE_OID, uuid5
from xml.sax.saxutils import quoteattr

from covermap.gis_layers.project_groups import LayerGroup
from covermap.gis_layers.qgis_themes import FOR_PRINT
from covermap.gis_layers.qml import plain_fill, symbol
from covermap.result.coverage import Coverage
from covermap.wording.language import say
from covermap.wording.retold import retold
from covermap.wording.words import as_given

PAGES = {"A4": (297.0, 210.0), "Letter": (279.4, 215.9)}
"""Width and height in mm, landscape: ISO 216, ANSI/ASME Y14.1."""

_EDGE, _GAP, _SIDE, _TITLE, _FOOT = 10.0, 4.0, 68.0, 11.0, 19.5  # mm
_KM = {"km": 1.0, "mi": 1.609344}  # international mile, exact by definition
_PAGE, _MAP, _LABEL, _LEGEND, _SCALE = 65638, 65639, 65641, 65642, 65646  # QgsLayoutItemRegistry::ItemType
_TREE_KEYS = ("tier_areas_", "dead_zones_", "transmitters_")


@dataclass(frozen=True)
class _Box:
    """A place on the page in mm."""

    x: float
    y: float
    width: float
    height: float


def layouts_element(coverage: Coverage, groups: Sequence[LayerGroup], title: str) -> str:
    """Return the <Layouts> of a project, one a size of paper; they show the first wanted list."""
    pages = "".join(_layout(coverage, groups, title, name, size) for name, size in PAGES.items())
    return f"<Layouts>\n{pages}</Layouts>\n"


def _layout(
    coverage: Coverage, groups: Sequence[LayerGroup], title: str, name: str, size: tuple[float, float]
) -> str:
    width, height = size
    side_x = width - _EDGE - _SIDE
    picture = _Box(_EDGE, _EDGE + _TITLE, side_x - _GAP - _EDGE, height - 2 * _EDGE - _TITLE - _FOOT)
    legend = _Box(side_x, picture.y, _SIDE, picture.height - 18.0)
    scale = _Box(side_x, picture.y + picture.height - 14.0, _SIDE, 13.0)
    foot_y = picture.y + picture.height + 2.0
    map_id = _uuid(name, "map")
    unit = coverage.run.get("options", {}).get("display", {}).get("distance", "km")
    items = (
        _map(coverage, picture, map_id)
        + _label(name, "title", _Box(_EDGE, _EDGE - 1, width - 2 * _EDGE, _TITLE), title, 16, bold=True)
        + _legend(coverage, groups, name, legend, map_id)
        + _scale_bar(coverage, name, scale, picture, map_id, unit)
        + _label(name, "cautions", _Box(_EDGE, foot_y, width - 2 * _EDGE, 13.0), _cautions(coverage), 6.5)
        + _label(
            name, "credit", _Box(_EDGE, height - _EDGE - 4.0, width - 2 * _EDGE, 5.0), _credit(coverage), 6.5
        )
    )
    paper = _paper("")
    page = _item(_PAGE, _uuid(name, "page"), _Box(0, 0, width, height), {}, paper)
    return (
        f'<Layout name={quoteattr(name)} units="mm" printResolution="300" worldFileMap="">\n'
        '<Snapper tolerance="5" snapToGrid="0" snapToGuides="1" snapToItems="1"/>\n'
        '<Grid offsetX="0" offsetY="0" offsetUnits="mm" resolution="10" resUnits="mm"/>\n'
        f"<PageCollection>\n{paper}{page}"
        f'<GuideCollection visible="1"/></PageCollection>\n{items}'
        '<Atlas enabled="0" coverageLayer="" hideCoverage="0" filterFeatures="0" sortFeatures="0" '
        'pageNameExpression="" filenamePattern=""/>\n</Layout>\n'
    )


def _paper(name: str) -> str:
    return symbol("fill", plain_fill("#FFFFFF"), name)


def _uuid(page: str, what: str) -> str:
    # From the name, not from chance: the project of the same result is the same file. Map, legend and scale
    # bar find each other by it.
    return f"{{{uuid5(NAMESPACE_OID, f'covermap {page} {what}')}}}"


def _item(
    kind: int, item_id: str, box: _Box, attributes: Mapping[str, object], inner: str, *, frame: bool = False
) -> str:
    """Return one item of a page, with what every kind of item says of itself."""
    place, size = f"{box.x:g},{box.y:g},mm", f"{box.width:g},{box.height:g},mm"
    common = {
        "type": kind, "uuid": item_id, "templateUuid": item_id, "id": "", "groupUuid": "", "visibility": 1,
        "position": place, "positionOnPage": place, "size": size, "referencePoint": 0, "itemRotation": 0,
        "zValue": 1, "opacity": 1, "blendMode": 0, "background": str(kind != _LABEL).lower(),
        "frame": str(frame).lower(), "outlineWidthM": "0.3,mm", "frameJoinStyle": "miter",
        "positionLock": "false", "excludeFromExports": 0,
    }  # fmt: skip
    written = " ".join(f"{name}={quoteattr(str(value))}" for name, value in {**common, **attributes}.items())
    return (
        f'<LayoutItem {written}>\n<FrameColor red="90" green="90" blue="90" alpha="255"/>'
        '<BackgroundColor red="255" green="255" blue="255" alpha="255"/>\n'
        f"<LayoutObject><customproperties/></LayoutObject>\n{inner}</LayoutItem>\n"
    )


def _map(coverage: Coverage, box: _Box, map_id: str) -> str:
    west, south, east, north = _fitted(coverage, box)
    attributes = {
        "mapFlags": 0, "followPreset": "true", "followPresetName": say(FOR_PRINT), "keepLayerSet": "false",
        "drawCanvasItems": "false", "mapRotation": 0, "labelMargin": "0,mm", "isTemporal": 0,
    }  # fmt: skip
    inner = (
        f'<Extent xmin="{west}" ymin="{south}" xmax="{east}" ymax="{north}"/><LayerSet/>'
        '<AtlasMap atlasDriven="0" margin="0.1" scalingMode="2"/>\n'
    )
    return _item(_MAP, map_id, box, attributes, inner, frame=True)


def _fitted(coverage: Coverage, box: _Box) -> tuple[float, float, float, float]:
    """Return the extent of the grid with an edge, widened to the shape of a box."""
    grid = coverage.grid
    x = grid.x_min + grid.cols * grid.cell_m / 2.0
    y = grid.y_max - grid.rows * grid.cell_m / 2.0
    # 2 % of edge on each side; the greater of both scales, so that the whole grid is inside.
    scale = 1.04 * max(grid.cols * grid.cell_m / box.width, grid.rows * grid.cell_m / box.height)
    half_x, half_y = scale * box.width / 2.0, scale * box.height / 2.0
    return x - half_x, y - half_y, x + half_x, y + half_y


def _label(page: str, what: str, box: _Box, text: str, size_pt: float, *, bold: bool = False) -> str:
    font = f"Sans Serif,{size_pt:g},-1,5,{75 if bold else 50},0,0,0,0,0"
    attributes = {"labelText": text, "htmlState": 0, "halign": 1, "valign": 32, "marginX": 0, "marginY": 0}
    colour = '<FontColor red="17" green="17" blue="17" alpha="255"/>'
    inner = f'<LabelFont style="" description="{font}"/>{colour}\n'
    return _item(_LABEL, _uuid(page, what), box, attributes, inner)


def _legend(coverage: Coverage, groups: Sequence[LayerGroup], page: str, box: _Box, map_id: str) -> str:
    first = coverage.lists[0]
    keys = {f"{key}{first}" for key in _TREE_KEYS} | {"transmitters_layer"}
    found = [layer for group in groups for layer in group.layers() if layer.key in keys]
    # The classes first; sorted() keeps the rest in the order of the groups.
    tree = "".join(layer.tree_element for layer in sorted(found, key=lambda one: "tier_areas" not in one.key))
    styles = "".join(
        f'<style name="{name}" alignment="1" indent="0" marginTop="{top:g}" marginLeft="{left:g}">'
        f'<styleFont style="" description="Sans Serif,{size},-1,5,{weight},0,0,0,0,0"/></style>'
        for name, top, left, size, weight in (
            ("title", 0, 0, 11, 75), ("group", 2, 0, 10, 75), ("subgroup", 3, 0, 10, 75),
            ("symbol", 1.4, 0, 9, 50), ("symbolLabel", 1.6, 2, 9, 50),
        )
    )  # fmt: skip
    attributes = {
        "map_uuid": map_id, "title": "", "titleAlignment": 1, "columnCount": 1, "splitLayer": 0,
        "equalColumnWidth": 0, "boxSpace": 0, "columnSpace": 2, "symbolWidth": 7, "symbolHeight": 4.4,
        "maxSymbolSize": 0, "minSymbolSize": 0, "lineSpacing": 1, "symbolAlignment": 1, "wrapChar": "",
        "fontColor": "#111111", "resizeToContents": 1, "legendFilterByAtlas": 0, "rasterBorder": 1,
        "rasterBorderColor": "0,0,0,255", "rasterBorderWidth": 0, "wmsLegendWidth": 50, "wmsLegendHeight": 25,
    }  # fmt: skip
    inner = (
        f"<styles>{styles}</styles>\n<layer-tree-group>\n<customproperties/>\n{tree}"
        '<custom-order enabled="0"/></layer-tree-group>\n'
    )
    return _item(_LEGEND, _uuid(page, "legend"), box, attributes, inner)


def _scale_bar(coverage: Coverage, page: str, box: _Box, picture: _Box, map_id: str, unit: str) -> str:
    west, _, east, _ = _fitted(coverage, picture)
    whole = (east - west) / 1000.0 / _KM[unit]  # of the map's width, in the unit
    # Two segments in half of the side column: what is left over holds the numbers and the unit.
    step = _round(whole * 0.5 * box.width / picture.width / 2.0)
    segment_mm = step / whole * picture.width
    attributes = {
        "mapUuid": map_id, "style": "Single Box", "unitType": unit, "unitLabel": unit, "numSegments": 2,
        "numSegmentsLeft": 0, "numUnitsPerSegment": f"{step:g}", "numMapUnitsPerScaleBarUnit": 1,
        "segmentSizeMode": 0, "segmentMillimeters": f"{segment_mm:.4f}", "minBarWidth": 50,
        "maxBarWidth": 150, "height": 2.5, "labelBarSpace": 1.5, "boxContentSpace": 1, "alignment": 0,
        "outlineWidth": 0.3, "lineJoinStyle": "miter", "lineCapStyle": "square", "numSubdivisions": 1,
        "subdivisionsHeight": 1.5, "labelVerticalPlacement": 0, "labelHorizontalPlacement": 0,
    }  # fmt: skip
    inner = (
        '<text-style fontFamily="Sans Serif" fontSize="8" fontSizeUnit="Point" fontWeight="50" '
        'textColor="17,17,17,255" textOpacity="1"/>\n'
    )
    return _item(_SCALE, _uuid(page, "scale"), box, attributes, inner)


def _round(value: float) -> float:
    """Return 1, 2 or 5 times a power of ten, the greatest that is not above a value."""
    power = 10.0 ** math.floor(math.log10(value))
    # 1e-9: a value that should be 5 or 2 times a power may come out a hair below it.
    return next(step * power for step in (5.0, 2.0, 1.0) if step * power <= value * (1 + 1e-9))


def _cautions(coverage: Coverage) -> str:
    return " ".join(retold(coverage.run.get("cautions", [])))


def _credit(coverage: Coverage) -> str:
    """Return what the map was made with: programme, model, terrain and run."""
    run = coverage.run
    model = run.get("models", {}).get(run.get("models", {}).get("chosen", ""), "")
    parts = [
        f"covermap {run.get('versions', {}).get('covermap', '')}".strip(),
        model,
        say("layer.credit_run", run_id=run.get("run_id", "")),
    ]
    percent = as_given(run.get("confidence_percent", 90))
    lists = say("layer.credit", list=coverage.lists[0], percent=percent)
    return "; ".join(part for part in [lists, *parts] if part)
