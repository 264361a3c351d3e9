"""QGIS styles of the vector layers: what each looks like by itself and in the project."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from covermap.gis_layers import qml
from covermap.gis_layers.layer_symbols import cased, tier_fill, unknown_dots
from covermap.gis_layers.qml import LINE, POINT, POLYGON, Class, quoted
from covermap.wording.causes import CAUSE_CODES, cause_words
from covermap.wording.language import say
from covermap.wording.palette import (
    INK_DARK,
    INK_LIGHT,
    SURE_GREYS,
    TIERS,
    painted,
)

NEEDED, SURE, OUTLINED = "style.needed", "style.sure", "style.outlines"
"""Messages of the names of styles that a layer has several of."""
TIER_NAMES = tuple(look.name for look in TIERS)


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
        Class(look.number, look.number, f"{look.number} {name}", tier_fill(look.number, outline))
        for look, name in zip(TIERS, tier_names, strict=True)
    ]
    number = of_list(list_name, f'"{column}"')
    numbered = table != "cells"
    drawn = number
    if table == "cells":
        drawn = of_list(list_name, f'coalesce("{column}", 0)')
        classes.append(Class(0, 0, say("page.unknown"), unknown_dots()))
    body = qml.vector_body(
        qml.categorised(drawn, classes, "fill"),
        columns,
        geometry_type=POLYGON,
        map_tip=_tier_tip(column, columns, tier_names),
        labelling=_tier_numbers(number) if numbered else "",
    )
    about = say("style.needed_about", list=list_name)
    return LayerStyle(table, say(NEEDED, list=list_name), about, body, default, numbered)


def how_sure_style(
    table: str, column: str, list_name: str, columns: Sequence[str], tier_names: Sequence[str] = TIER_NAMES
) -> LayerStyle:
    """Return the second style of a polygon layer: the chance behind its tier, in five greys.

    column : chance of the whole list with the stored plan, in percent; in tier 8 it is tier 7's
    """
    classes = [
        Class(low, high, say(f"style.chance.{key}"), qml.plain_fill(painted(grey)))
        for (low, high, key), grey in zip(CHANCE_CLASSES, SURE_GREYS, strict=True)
    ]
    sure = qml.number_shown(column, say("style.tip.sure"))
    body = qml.vector_body(
        qml.graduated(of_list(list_name, f'"{column}"'), classes, "fill"),
        columns,
        geometry_type=POLYGON,
        map_tip=f"{sure}<br>{_tier_tip('tier', columns, tier_names)}",
    )
    return LayerStyle(table, say(SURE, list=list_name), say("style.sure_about", list=list_name), body, False)


CHANCE_CLASSES = (
    (95, 100, "surest"),
    (90, 95, "expected"),
    (70, 90, "likely"),
    (50, 70, "may_work"),
    (0, 50, "low"),
)
"""Ranges of a chance in percent and their messages; a limit belongs to the first range that has it."""


def outline_style(columns: Sequence[str], tier_names: Sequence[str]) -> LayerStyle:
    """Return the neighbourhoods as outlines with names, to lie over the tiers."""
    line = cased({"line_width": "0.35"}, level=1)
    halves = next((name for name in columns if name.startswith("tier_half_of_")), "tier_half_of_homes")
    body = qml.vector_body(
        qml.single(qml.symbol("fill", line), levels=True),
        columns,
        geometry_type=POLYGON,
        map_tip=_tier_tip(halves, columns, tier_names, half=True),
        labelling=qml.labels('"neighbourhood_name"', ink=INK_DARK, halo=INK_LIGHT, inside_only=True),
    )
    return LayerStyle("neighbourhoods", say(OUTLINED), say("style.outlines_about"), body, False, True)


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
    return _plain_style("transmitters", "stations", body, labelled=bool(labelling))


def dead_zone_style(columns: Sequence[str]) -> LayerStyle:
    """Return the style of dead zones: a thick edge where dead, a dashed one where doubtful.

    They lie in the darkest tier, so that a light casing carries the dark line.
    """
    dead = cased({"line_width": "0.9"}, level=2)
    doubtful = cased({"line_width": "0.5", "line_style": "dash"}, level=1)
    classes = [
        Class("dead", "dead", say("style.zone.dead"), dead),
        Class("doubtful", "doubtful", say("style.zone.doubtful"), doubtful),
    ]
    dead_zone, doubtful_zone = quoted(say("page.zone.dead")), quoted(say("page.zone.doubtful"))
    heading = f"[% CASE WHEN \"kind\" = 'dead' THEN {dead_zone} ELSE {doubtful_zone} END %]"
    tip = f"<b>{heading}</b>{_homes_tip(columns)}"
    if "near_name" in columns:
        tip = f"{tip}<br>{qml.shown('near_name')}"
    if "main_cause" in columns:
        tip += f"<br>[% {_cause_as_read()} %]"
    body = qml.vector_body(
        qml.categorised('"kind"', classes, "fill", "string", levels=True),
        columns,
        geometry_type=POLYGON,
        map_tip=tip,
    )
    return _plain_style("dead_zones", "dead_zones", body)


def _cause_as_read() -> str:
    """Return an expression that says the cause of a feature in words."""
    cases = [f"WHEN \"main_cause\" = '{code}' THEN {quoted(cause_words(code))}" for code in CAUSE_CODES]
    return f"CASE {' '.join(cases)} ELSE '' END"


RIDGE_SIZES = ((100, 1e9, "many", "5.5"), (10, 100, "some", "3.8"), (-1, 10, "few", "2.4"))
"""Homes shaded from and to, its message, size of the mark in mm."""


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

    classes = [
        Class(low, high, say(f"style.ridge.{key}"), angle(size)) for low, high, key, size in RIDGE_SIZES
    ]
    tip = f"{qml.shown('service')}<br>{qml.number_shown('above_line_m', say('style.tip.above'))}"
    body = qml.vector_body(
        qml.graduated('coalesce("homes_shaded", 0)', classes, "marker"),
        columns,
        geometry_type=POINT,
        map_tip=tip,
    )
    return _plain_style("ridges", "ridges", body)


def survey_point_style(columns: Sequence[str]) -> LayerStyle:
    """Return the style of survey points: light circles with their rank."""
    marker = {"name": "circle", "color": qml.rgba(INK_LIGHT), "outline_color": qml.rgba(INK_DARK)}
    marker |= {"outline_width": "0.4", "size": "5", "size_unit": "MM"}
    body = qml.vector_body(
        qml.single(qml.symbol("marker", qml.symbol_layer("SimpleMarker", marker))),
        columns,
        geometry_type=POINT,
        map_tip=say("style.tip.measure", rank=qml.number_shown("rank")),
        labelling=qml.labels('"rank"', ink=INK_DARK, halo=INK_LIGHT, size_pt=7, placement=1),
    )
    return _plain_style("survey_points", "survey_points", body, labelled=True)


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
    return _plain_style("contours", "contours", body)


def _plain_style(table: str, key: str, body: str, *, labelled: bool = False) -> LayerStyle:
    """Return the one style of a layer, its name and description by a key of the messages."""
    return LayerStyle(table, say(f"style.{key}"), say(f"style.{key}_about"), body, labelled=labelled)


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
    names = " ".join(
        f'WHEN "{column}" = {number} THEN {quoted(f"{number} {name}")}'
        for number, name in enumerate(tier_names, 1)
    )
    heading = f"<b>{qml.shown('neighbourhood_name')}</b><br>" if "neighbourhood_name" in columns else ""
    tier = f"[% CASE {names} ELSE {quoted(say('page.unknown'))} END %]"
    shown = say("style.tip.half", tier=tier) if half else tier
    return f"{heading}{shown}{_homes_tip(columns)}"


def _homes_tip(columns: Sequence[str]) -> str:
    homes = next((name for name in ("homes", "homes_total") if name in columns), None)
    return f"<br>{qml.number_shown(homes, say('style.tip.homes'))}" if homes else ""
