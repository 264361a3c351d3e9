"""Pieces of QGIS styles as XML text: symbols, renderers, labels, and the frame around them.

Written for QGIS 3.22; 3.40 reads the same. A body stands in a style file, in the table layer_styles of a
GeoPackage, or inside a layer of a project.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

from covermap.wording.columns import alias
from covermap.wording.language import say
from covermap.wording.palette import rgb

QGIS_VERSION = "3.22.0"
SEAM_MM = 0.26  # a pixel of a screen of 96 to the inch; thinner ones leave seams between squares
POINT, LINE, POLYGON = 0, 1, 2
"""Geometry types as QGIS numbers them."""


@dataclass(frozen=True)
class Class:
    """One class of a categorised or graduated renderer: from low to high, or one value in both."""

    low: float | str
    high: float | str
    label: str
    symbol: str


def rgba(colour: str, alpha: int = 255) -> str:
    """Return a colour written #RRGGBB as QGIS writes it."""
    return ",".join(str(part) for part in (*rgb(colour), alpha))


def symbol_layer(
    kind: str, properties: Mapping[str, str], enabled_if: str = "", inner: str = "", *, level: int = 0
) -> str:
    """Return one symbol layer, its properties in both notations QGIS 3 reads.

    enabled_if : expression that decides for each feature whether the layer is drawn
    inner : a symbol inside the layer, as line patterns have
    level : where the renderer draws by levels, this layer of all features comes after those of lower levels
    """
    options = "".join(
        f'<Option name="{name}" type="QString" value={quoteattr(value)}/>'
        for name, value in properties.items()
    )
    old = "".join(f'<prop k="{name}" v={quoteattr(value)}/>' for name, value in properties.items())
    condition = (
        '<data_defined_properties><Option type="Map"><Option name="name" type="QString" value=""/>'
        '<Option name="properties" type="Map"><Option name="enabled" type="Map">'
        '<Option name="active" type="bool" value="true"/>'
        f'<Option name="expression" type="QString" value={quoteattr(enabled_if)}/>'
        '<Option name="type" type="int" value="3"/></Option></Option>'
        '<Option name="type" type="QString" value="collection"/></Option></data_defined_properties>'
    )
    return (
        f'<layer class="{kind}" enabled="1" locked="0" pass="{level}">'
        f'<Option type="Map">{options}</Option>{old}'
        f"{condition if enabled_if else ''}{inner}</layer>\n"
    )


def symbol(kind: str, layers: str, name: str = "0") -> str:
    """Return a symbol; kind is marker, line or fill, name its number in a renderer or parent."""
    frame = f'<symbol name="{name}" type="{kind}" alpha="1" clip_to_extent="1" force_rhr="0">'
    return f"{frame}\n{layers}</symbol>\n"


def plain_fill(colour: str, outline: str | None = None, outline_mm: float = 0.3, style: str = "solid") -> str:
    """Return a fill layer; without an outline colour the edge has the fill's own, so that no seam shows."""
    return symbol_layer(
        "SimpleFill",
        {
            "color": rgba(colour),
            "style": style,
            "outline_style": "solid",
            "outline_color": rgba(outline or colour),
            "outline_width": f"{outline_mm if outline else SEAM_MM:g}",
            "joinstyle": "miter",
        },
    )


def single(content: str, *, levels: bool = False) -> str:
    """Return a renderer that draws every feature with one symbol, numbered 0; levels: see symbol_layer()."""
    return (
        f'<renderer-v2 type="singleSymbol" symbollevels="{int(levels)}" forceraster="0" enableorderby="0">'
        f"<symbols>\n{content}</symbols></renderer-v2>\n"
    )


def categorised(
    expression: str,
    classes: Sequence[Class],
    kind: str,
    value_type: str = "integer",
    *,
    levels: bool = False,
) -> str:
    """Return a renderer with one symbol a value; levels: see symbol_layer()."""
    rows = "".join(
        f'<category render="true" value={quoteattr(str(part.low))} type="{value_type}" symbol="{index}" '
        f"label={quoteattr(part.label)}/>\n"
        for index, part in enumerate(classes)
    )
    symbols = "".join(symbol(kind, part.symbol, str(index)) for index, part in enumerate(classes))
    return (
        f'<renderer-v2 type="categorizedSymbol" attr={quoteattr(expression)} enableorderby="0" '
        f'forceraster="0" symbollevels="{int(levels)}">\n<categories>\n{rows}</categories>\n'
        f"<symbols>\n{symbols}</symbols></renderer-v2>\n"
    )


def graduated(expression: str, classes: Sequence[Class], kind: str) -> str:
    """Return a renderer with one symbol a range of values."""
    rows = "".join(
        f'<range render="true" lower="{part.low}" upper="{part.high}" symbol="{index}" '
        f"label={quoteattr(part.label)}/>\n"
        for index, part in enumerate(classes)
    )
    symbols = "".join(symbol(kind, part.symbol, str(index)) for index, part in enumerate(classes))
    return (
        f'<renderer-v2 type="graduatedSymbol" attr={quoteattr(expression)} graduatedMethod="GraduatedColor" '
        f'enableorderby="0" forceraster="0" symbollevels="0">\n<ranges>\n{rows}</ranges>\n'
        f"<symbols>\n{symbols}</symbols></renderer-v2>\n"
    )


def labels(
    expression: str,
    *,
    ink: str,
    halo: str,
    size_pt: float = 8.0,
    bold: bool = False,
    ink_expression: str = "",
    halo_expression: str = "",
    inside_only: bool = False,
    placement: int = 0,
    distance_mm: float = 0.0,
) -> str:
    """Return labels that never overlap, in one ink with a halo in the other.

    ink_expression, halo_expression : colours by feature, in place of the fixed ones
    inside_only : only where the label fits into the polygon
    placement : as QGIS numbers it: 0 around a point or over a polygon, 1 over a point, 6 cartographic
    """
    by_feature = "".join(
        f'<Option name="{name}" type="Map"><Option name="active" type="bool" value="true"/>'
        f'<Option name="expression" type="QString" value={quoteattr(formula)}/>'
        '<Option name="type" type="int" value="3"/></Option>'
        for name, formula in (("Color", ink_expression), ("BufferColor", halo_expression))
        if formula
    )
    return (
        '<labeling type="simple"><settings calloutType="simple">\n'
        f'<text-style fieldName={quoteattr(expression)} isExpression="1" fontSize="{size_pt:g}" '
        f'fontSizeUnit="Point" fontFamily="Sans Serif" textColor="{rgba(ink)}" textOpacity="1" '
        f'namedStyle="{"Bold" if bold else "Regular"}" fontWeight="{75 if bold else 50}" multilineHeight="1" '
        'useSubstitutions="0">\n'
        f'<text-buffer bufferDraw="1" bufferSize="0.6" bufferSizeUnits="MM" bufferColor="{rgba(halo)}" '
        'bufferOpacity="0.85" bufferNoFill="1" bufferJoinStyle="128"/></text-style>\n'
        '<text-format multilineAlign="3" wrapChar="" formatNumbers="0"/>\n'
        f'<placement placement="{placement}" dist="{distance_mm:g}" distUnits="MM" priority="5" '
        f'fitInPolygonOnly="{int(inside_only)}" quadOffset="4" offsetType="1" '
        'predefinedPositionOrder="TR,BR,R,L,TL,BL" geometryGenerator="" centroidInside="1"/>\n'
        '<rendering drawLabels="1" displayAll="0" obstacle="1" obstacleType="1" scaleVisibility="0" '
        'minFeatureSize="3" limitNumLabels="0" upsidedownLabels="0" labelPerPart="0" mergeLines="0"/>\n'
        '<dd_properties><Option type="Map"><Option name="name" type="QString" value=""/>'
        f'<Option name="properties" type="Map">{by_feature}</Option>'
        '<Option name="type" type="QString" value="collection"/></Option></dd_properties>\n'
        "</settings></labeling>\n"
    )


def vector_body(
    renderer: str,
    columns: Iterable[str],
    *,
    geometry_type: int,
    map_tip: str = "",
    labelling: str = "",
) -> str:
    """Return all of a vector layer's style; nothing is translucent: the panel shows the map's colours."""
    aliases = "".join(
        f'<alias field={quoteattr(column)} index="{index}" name={quoteattr(alias(column))}/>\n'
        # from 1: field 0 is the row's own number, fid
        for index, column in enumerate(columns, start=1)
    )
    return (
        f"{renderer}{labelling}<blendMode>0</blendMode>\n<featureBlendMode>0</featureBlendMode>\n"
        f"<layerOpacity>1</layerOpacity>\n<aliases>\n{aliases}</aliases>\n"
        f"<mapTip>{escape(map_tip)}</mapTip>\n<layerGeometryType>{geometry_type}</layerGeometryType>\n"
    )


def document(body: str, *, labelled: bool = False) -> str:
    """Return a whole style file."""
    enabled = f' labelsEnabled="{int(labelled)}"'
    return (
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"
        f'<qgis version="{QGIS_VERSION}" styleCategories="AllStyleCategories"{enabled}>\n{body}</qgis>\n'
    )


def shown(column: str) -> str:
    """Return an expression that shows an attribute as text: a map tip is HTML, and names come from inputs."""
    return f"[% replace(replace(\"{column}\", '&', '&amp;'), '<', '&lt;') %]"


def number_shown(column: str, what: str = "", digits: int = 0) -> str:
    """Return an expression that shows a number and what it counts; that it is unknown where it is missing.

    A missing number put into a text by itself would read 0.
    """
    ending = f" || {quoted(f' {what}')}" if what else ""
    return f'[% coalesce(round("{column}", {digits}), {quoted(say("number.unknown"))}){ending} %]'


def quoted(text: str) -> str:
    """Return text as an expression that is it; a map tip is HTML, so it is escaped."""
    return "'" + escape(text).replace("'", "''") + "'"
