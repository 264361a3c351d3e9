"""Symbols of vector layers in QGIS: the fill of a tier, dots where nothing is known, lines over all tiers."""

from __future__ import annotations

from covermap.gis_layers import qml
from covermap.wording.palette import HATCH_COLOUR, INK_DARK, INK_LIGHT, TIERS, UNKNOWN_DOT_COLOUR

# hatch only where a patch is 12 px (3.2 mm) wide
_WIDE_ENOUGH = "sqrt(area($geometry)) * 1000 / @map_scale > 3.2"
CASING_MM = 0.5  # both sides together


def cased(line: dict[str, str], level: int) -> str:
    """Return a dark line over a wider light one, so that it is seen over every tier.

    line : width and dash
    level : of the dark line; all light ones come first, so that no neighbour's covers it
    """
    wider = {"line_width": f"{float(line['line_width']) + CASING_MM:g}", "joinstyle": "round"}
    casing = qml.symbol_layer("SimpleLine", wider | {"line_color": qml.rgba(INK_LIGHT)})
    dark = {"line_color": qml.rgba(INK_DARK), "joinstyle": "round"}
    return casing + qml.symbol_layer("SimpleLine", dark | line, level=level)


def tier_fill(number: int, outline: str | None) -> str:
    """Return the fill of a tier; tier 8 has a hatch over it where there is room."""
    layers = qml.plain_fill(TIERS[number - 1].painted, outline)
    if number < len(TIERS):
        return layers
    line = qml.symbol_layer("SimpleLine", {"line_color": qml.rgba(HATCH_COLOUR), "line_width": "0.26"})
    hatch = {"angle": "45", "distance": "2.6", "distance_unit": "MM"}
    return layers + qml.symbol_layer("LinePatternFill", hatch, _WIDE_ENOUGH, qml.symbol("line", line, "@0@1"))


def unknown_dots() -> str:
    """Return dots without a fill: nothing is known of the cell."""
    dot = {"name": "circle", "color": qml.rgba(UNKNOWN_DOT_COLOUR), "outline_style": "no", "size": "0.53"}
    marker = qml.symbol("marker", qml.symbol_layer("SimpleMarker", dot | {"size_unit": "MM"}), "@0@0")
    spread = {"distance_x": "2.1", "distance_y": "2.1", "distance_x_unit": "MM", "distance_y_unit": "MM"}
    return qml.symbol_layer("PointPatternFill", spread, "", marker)
