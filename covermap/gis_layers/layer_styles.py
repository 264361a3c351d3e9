"""QGIS styles of the vector layers: what each looks like by itself and in the project."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from covermap.gis_layers import qml
from covermap.gis_layers.qml import LINE, POINT, POLYGON, Class
from covermap.wording.causes import CAUSE_CODES, cause_words
from covermap.wording.palette import (
    HATCH_COLOUR,
    INK_DARK,
    INK_LIGHT,
    SURE_GREYS,
    TIERS,
    UNKNOWN_DOT_COLOUR,
    UNKNOWN_NAME,
    painted,
)

TIER_NAMES = tuple(look.name for look in TIERS)
# hatch only where a patch is 12 px (3.2 mm) wide
_WIDE_ENOUGH = "sqrt(area($geometry)) * 1000 / @map_scale > 3.2"
CASING_MM = 0.5  # both sides together
_CAUSE_AS_READ = "CASE {} ELSE '' END".format(
    " ".join(
        f"WHEN \"main_cause\" = '{code}' THEN '{escape(cause_words(code)).replace(chr(39), chr(39) * 2)}'"
        for code in CAUSE_CODES
    )
)


@dataclass(frozen=True)
class LayerStyle:
    """One style of one layer.

    body : the style without the frame of a file, see covermap.gis_layers.qml
    default : whether QGIS opens the layer with it
    labelled : whether it shows labels
    """

    table: str
    name: str
    description: str
    body: str
    default: bool = True
    labelled: bool = False

    @property
    def qml(self) -> str:
        """Return the style as a whole style file."""
        return qml.document(self.body, labelled=self.labelled)


def of_list(list_name: str, value: str) -> str:
    """Return an expression that is `value` in rows of one wanted list and missing in others."""
    wanted = list_name.replace("'", "''")
    return f"CASE WHEN \"wanted_list\" = '{wanted}' THEN {value} END"


def tier_layer_style(
    table: str,
    column: str,
    list_name: str,
    columns: Sequence[str],
    *,
    default: bool,
    tier_names: Sequence[str] = TIER_NAMES,
) -> LayerStyle:
    """Return the style of a polygon layer by tier, showing the rows of one wanted list.

    column : the attribute that holds tiers 1 to 8
    columns : all columns of the layer in order, for their aliases
    tier_names : of tiers 1 to 8
    """
    outline = INK_DARK if table == "neighbourhoods" else None
    classes = [
        Class(look.number, look.number, f"{look.number} {name}", _tier_fill(look.number, outline))
        for look, name in zip(TIERS, tier_names, strict=True)
    ]
    number = of_list(list_name, f'"{column}"')
    numbered = table != "cells"
    drawn = number
    if table == "cells":
        drawn = of_list(list_name, f'coalesce("{column}", 0)')
        classes.append(Class(0, 0, UNKNOWN_NAME, _unknown_dots()))
    body = qml.vector_body(
        qml.categorised(drawn, classes, "fill"),
        columns,
        geometry_type=POLYGON,
        map_tip=_tier_tip(column, columns, tier_names),
        labelling=_tier_numbers(number) if numbered else "",
    )
    return LayerStyle(
        table, f"Antenna needed: {list_name}", f"Tier, wanted list {list_name}", body, default, numbered
    )


def how_sure_style(
    table: str, column: str, list_name: str, columns: Sequence[str], tier_names: Sequence[str] = TIER_NAMES
) -> LayerStyle:
    """Return the second style of a polygon layer: the chance behind its tier, in five greys.

    column : chance of the whole list with the stored plan, in percent; in tier 8 it is tier 7's
    """
    classes = [
        Class(low, high, label, qml.plain_fill(painted(grey)))
        for (low, high, label), grey in zip(CHANCE_CLASSES, SURE_GREYS, strict=True)
    ]
    body = qml.vector_body(
        qml.graduated(of_list(list_name, f'"{column}"'), classes, "fill"),
        columns,
        geometry_type=POLYGON,
        map_tip=f"{qml.number_shown(column, '% sure')}<br>{_tier_tip('tier', columns, tier_names)}",
    )
    return LayerStyle(table, f"How sure: {list_name}", f"Chance, wanted list {list_name}", body, False)


CHANCE_CLASSES = (
    (95, 100, "95 % or more, expected"),
    (90, 95, "90 to 95 %, expected"),
    (70, 90, "70 to 90 %, likely"),
    (50, 70, "50 to 70 %, may work, test first"),
    (0, 50, "under 50 %, not to be relied on"),
)
"""Ranges of a chance in percent, the surest first; a limit belongs to the first range that has it."""


def outline_style(columns: Sequence[str], tier_names: Sequence[str]) -> LayerStyle:
    """Return the neighbourhoods as outlines with names, to lie over the tiers."""
    line = _cased({"line_width": "0.35"}, level=1)
    halves = next((name for name in columns if name.startswith("tier_half_of_")), "tier_half_of_homes")
    body = qml.vector_body(
        qml.single(qml.symbol("fill", line), levels=True),
        columns,
        geometry_type=POLYGON,
        map_tip=_tier_tip(halves, columns, tier_names, half=True),
        labelling=qml.labels('"neighbourhood_name"', ink=INK_DARK, halo=INK_LIGHT, inside_only=True),
    )
    return LayerStyle("neighbourhoods", "Outlines and names", "To lie over tiers", body, False, True)


def _cased(line: dict[str, str], level: int) -> str:
    """Return a dark line over a wider light one, so that it is seen over every tier.

    line : width and dash
    level : of the dark line; all light ones come first, so that no neighbour's covers it
    """
    wider = {"line_width": f"{float(line['line_width']) + CASING_MM:g}", "joinstyle": "round"}
    casing = qml.symbol_layer("SimpleLine", wider | {"line_color": qml.rgba(INK_LIGHT)})
    dark = {"line_color": qml.rgba(INK_DARK), "joinstyle": "round"}
    return casing + qml.symbol_layer("SimpleLine", dark | line, level=level)


_MAST_NAME = (  # with the letters of the stations a viewer may want, as on every page
    '"mast" || coalesce(\'  \' || concatenate("letter", group_by:="mast", filter:="use" = \'wanted\', '
    "concatenator:=' '), '')"
)


def transmitter_style(columns: Sequence[str]) -> LayerStyle:
    """Return the style of the transmitters: a dark triangle with a light edge, one label a mast."""
    marker = {"name": "triangle", "color": qml.rgba(INK_DARK), "outline_color": qml.rgba(INK_LIGHT)}
    marker |= {"outline_width": "0.5", "size": "4", "size_unit": "MM"}
    tip = f"<b>{qml.shown('service')}</b>"
    labelling = ""
    if "letter" in columns:
        tip += f" ({qml.shown('letter')})"
    if {"mast", "station_id", "letter"} <= set(columns):
        tip += f"<br>{qml.shown('mast')}"
        labelling = qml.labels(
            f'CASE WHEN "station_id" = minimum("station_id", group_by:="mast") THEN {_MAST_NAME} END',
            ink=INK_DARK, halo=INK_LIGHT, size_pt=9, bold=True, placement=6, distance_mm=1.5,
        )  # fmt: skip
    if {"displayed_channel", "erp_kw"} <= set(columns):
        tip += f"<br>{qml.shown('displayed_channel')}, {qml.number_shown('erp_kw', 'kW', digits=3)}"
    body = qml.vector_body(
        qml.single(qml.symbol("marker", qml.symbol_layer("SimpleMarker", marker))),
        columns,
        geometry_type=POINT,
        map_tip=tip,
        labelling=labelling,
    )
    return LayerStyle(
        "transmitters", "Stations", "Transmitters as understood", body, labelled=bool(labelling)
    )


def dead_zone_style(columns: Sequence[str]) -> LayerStyle:
    """Return the style of dead zones: a thick edge where dead, a dashed one where doubtful.

    They lie in the darkest tier, so that a light casing carries the dark line.
    """
    dead = _cased({"line_width": "0.9"}, level=2)
    doubtful = _cased({"line_width": "0.5", "line_style": "dash"}, level=1)
    classes = [
        Class("dead", "dead", "Dead: none of the listed services", dead),
        Class("doubtful", "doubtful", "Doubtful: 10 to 50 % chance of any", doubtful),
    ]
    heading = "[% CASE WHEN \"kind\" = 'dead' THEN 'Dead zone' ELSE 'Doubtful zone' END %]"
    tip = f"<b>{heading}</b>{_homes_tip(columns)}"
    if "near_name" in columns:
        tip = f"{tip}<br>{qml.shown('near_name')}"
    if "main_cause" in columns:
        tip += f"<br>[% {_CAUSE_AS_READ} %]"
    body = qml.vector_body(
        qml.categorised('"kind"', classes, "fill", "string", levels=True),
        columns,
        geometry_type=POLYGON,
        map_tip=tip,
    )
    return LayerStyle("dead_zones", "Dead zones", "None of the listed services", body)


RIDGE_SIZES = ((100, 1e9, "shades 100 homes or more", "5.5"), (10, 100, "shades 10 to 100 homes", "3.8"),
               (-1, 10, "shades under 10 homes, or unknown", "2.4"))  # fmt: skip
"""Homes shaded from and to, in words, size of the mark in mm."""


def ridge_style(columns: Sequence[str]) -> LayerStyle:
    """Return the style of ridges: an open angle on each point, larger where it shades more homes."""

    def angle(size_mm: str) -> str:
        marker = {"name": "arrowhead", "angle": "-90", "size": size_mm, "size_unit": "MM"}
        return "".join(
            qml.symbol_layer(
                "SimpleMarker", marker | {"outline_color": qml.rgba(ink), "outline_width": width}
            )
            for ink, width in ((INK_LIGHT, "1.5"), (INK_DARK, "0.6"))
        )

    classes = [Class(low, high, label, angle(size)) for low, high, label, size in RIDGE_SIZES]
    tip = f"{qml.shown('service')}<br>{qml.number_shown('above_line_m', 'm above the line')}"
    body = qml.vector_body(
        qml.graduated('coalesce("homes_shaded", 0)', classes, "marker"),
        columns,
        geometry_type=POINT,
        map_tip=tip,
    )
    return LayerStyle("ridges", "Ridges", "Ridges that shade homes", body)


def survey_point_style(columns: Sequence[str]) -> LayerStyle:
    """Return the style of survey points: light circles with their rank."""
    marker = {"name": "circle", "color": qml.rgba(INK_LIGHT), "outline_color": qml.rgba(INK_DARK)}
    marker |= {"outline_width": "0.4", "size": "5", "size_unit": "MM"}
    body = qml.vector_body(
        qml.single(qml.symbol("marker", qml.symbol_layer("SimpleMarker", marker))),
        columns,
        geometry_type=POINT,
        map_tip=f"Measure here, rank {qml.number_shown('rank')}",
        labelling=qml.labels('"rank"', ink=INK_DARK, halo=INK_LIGHT, size_pt=7, placement=1),
    )
    return LayerStyle("survey_points", "Survey points", "Where a reading settles most", body, labelled=True)


def contour_style(columns: Sequence[str]) -> LayerStyle:
    """Return the style of field contours: a thin dashed line."""
    line = {"line_color": qml.rgba("#5A4A6B"), "line_width": "0.4", "line_style": "dash"}
    tip = f"{qml.shown('station_id')}<br>{qml.number_shown('field_dbuvm', 'dB(µV/m)')}<br>{qml.shown('rule')}"
    body = qml.vector_body(
        qml.single(qml.symbol("line", qml.symbol_layer("SimpleLine", line))),
        columns,
        geometry_type=LINE,
        map_tip=tip,
    )
    return LayerStyle("contours", "Contours", "Field contours by rule", body)


def styles_of_layer(
    layer: str, columns: Sequence[str], lists: Sequence[str], tier_names: Sequence[str]
) -> list[LayerStyle]:
    """Return the styles of a layer, the default first; none for tables without geometry."""
    if layer in _PLAIN:
        return [_PLAIN[layer](columns)]
    if layer not in ("neighbourhoods", "tier_areas", "cells"):
        return []
    halves = next((name for name in columns if name.startswith("tier_half_of_")), "tier")
    column = halves if layer == "neighbourhoods" else "tier"
    styles = [
        tier_layer_style(layer, column, name, columns, default=name == lists[0], tier_names=tier_names)
        for name in lists
    ]
    chance = {"tier_areas": "confidence_median_percent", "cells": "confidence_percent"}.get(layer)
    if chance in columns:
        styles += [how_sure_style(layer, str(chance), name, columns, tier_names) for name in lists]
    if layer == "neighbourhoods":
        styles.append(outline_style(columns, tier_names))
    return styles


_PLAIN = {
    "transmitters": transmitter_style,
    "dead_zones": dead_zone_style,
    "ridges": ridge_style,
    "survey_points": survey_point_style,
    "contours": contour_style,
}


def _tier_fill(number: int, outline: str | None) -> str:
    """Return the fill of a tier; tier 8 has a hatch over it where there is room."""
    layers = qml.plain_fill(TIERS[number - 1].painted, outline)
    if number < len(TIERS):
        return layers
    line = qml.symbol_layer("SimpleLine", {"line_color": qml.rgba(HATCH_COLOUR), "line_width": "0.26"})
    hatch = {"angle": "45", "distance": "2.6", "distance_unit": "MM"}
    return layers + qml.symbol_layer("LinePatternFill", hatch, _WIDE_ENOUGH, qml.symbol("line", line, "@0@1"))


def _unknown_dots() -> str:
    """Return dots without a fill: nothing is known of the cell."""
    dot = {"name": "circle", "color": qml.rgba(UNKNOWN_DOT_COLOUR), "outline_style": "no", "size": "0.53"}
    marker = qml.symbol("marker", qml.symbol_layer("SimpleMarker", dot | {"size_unit": "MM"}), "@0@0")
    spread = {"distance_x": "2.1", "distance_y": "2.1", "distance_x_unit": "MM", "distance_y_unit": "MM"}
    return qml.symbol_layer("PointPatternFill", spread, "", marker)


def _tier_numbers(number: str) -> str:
    """Return labels with the tier's number in its ink, where they fit."""
    light = ", ".join(
        str(look.number) for look in TIERS if look.ink == INK_LIGHT or look.number == len(TIERS)
    )
    pick = f"CASE WHEN {number} IN ({light}) THEN '{{}}' ELSE '{{}}' END"
    return qml.labels(
        number,
        ink=INK_DARK,
        halo=INK_LIGHT,
        ink_expression=pick.format(INK_LIGHT, INK_DARK),
        halo_expression=pick.format(INK_DARK, INK_LIGHT),
        inside_only=True,
    )


def _tier_tip(column: str, columns: Sequence[str], tier_names: Sequence[str], half: bool = False) -> str:
    """Return what the pointer shows over a polygon: tier and homes."""
    names_shown = [escape(name).replace("'", "''") for name in tier_names]
    names = " ".join(
        f"WHEN \"{column}\" = {number} THEN '{number} {name}'" for number, name in enumerate(names_shown, 1)
    )
    heading = f"<b>{qml.shown('neighbourhood_name')}</b><br>" if "neighbourhood_name" in columns else ""
    half_of = "Half manage with " if half else ""
    return f"{heading}{half_of}[% CASE {names} ELSE 'Unknown' END %]{_homes_tip(columns)}"


def _homes_tip(columns: Sequence[str]) -> str:
    homes = next((name for name in ("homes", "homes_total") if name in columns), None)
    return f"<br>{qml.number_shown(homes, 'homes')}" if homes else ""
