"""QGIS styles of what stands beside a result: changes between two of them, hilltops for a relay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pyogrio

from covermap.gis_layers import qml
from covermap.gis_layers.geopackage_tables import add_styles
from covermap.gis_layers.layer_styles import LayerStyle
from covermap.gis_layers.qml import POINT, POLYGON, Class
from covermap.gis_layers.raster_attributes import code_attributes
from covermap.planning.changes import CHANGES, EASIER, HARDER, NOW_KNOWN, NOW_UNKNOWN
from covermap.planning.installation_comparison import DIFFERENCES
from covermap.planning.relay_shortlist import count_column
from covermap.result.whole_file import write_text
from covermap.wording.language import say
from covermap.wording.palette import INK_DARK, INK_LIGHT, INSTEAD_FILLS

CHANGE_FILLS = {HARDER: "#1F4F56", EASIER: "#E3A44B", NOW_UNKNOWN: "#8C7FA0", NOW_KNOWN: "#C9C1D6"}
"""Those of the comparison's picture; what is only now known is lighter than what is only now unknown."""


def style_changes(path: Path) -> None:
    """Give the layer `changes` of a GeoPackage its style."""
    columns = _columns(path, "changes")
    classes = [
        Class(CHANGES[change], CHANGES[change], _change_words(change), qml.plain_fill(fill))
        for change, fill in CHANGE_FILLS.items()
    ]
    # A tip must not name a column that the layer lacks.
    homes = f"<br>{qml.number_shown('homes', say('style.tip.homes'))}" if "homes" in columns else ""
    before, after = qml.number_shown("tier_before"), qml.number_shown("tier_after")
    classes_told = say("style.tip.change", before=before, after=after)
    words = {name: _change_words(number) for number, name in enumerate(CHANGES)}
    body = qml.vector_body(
        qml.categorised('"change"', classes, "fill", "string"),
        columns,
        geometry_type=POLYGON,
        map_tip=f"<b>{_as_read('change', words)}</b><br>{classes_told}{homes}",
    )
    add_styles(path, [LayerStyle("changes", say("style.changes"), say("style.changes_about"), body)])


def _change_words(change: int) -> str:
    return say(f"style.change.{CHANGES[change].replace(' ', '_')}")


def _as_read(column: str, words: Mapping[str, str]) -> str:
    """Return an expression that shows the words of a code."""
    cases = " ".join(f"WHEN \"{column}\" = '{code}' THEN {qml.quoted(text)}" for code, text in words.items())
    return f"[% CASE {cases} END %]"


def style_antennas(layer: Path, rasters: Sequence[Path]) -> None:
    """Give the layer `antenna_difference` of a GeoPackage its style, and rasters of it their names."""
    columns = _columns(layer, "antenna_difference")
    titles = {name: say(f"style.antenna.{name}") for name in ("gained", "lost")}
    pair = say("style.tip.instead", other=qml.shown("other"), first=qml.shown("first"))
    classes = [
        Class(name, name, title, qml.plain_fill(INSTEAD_FILLS[name])) for name, title in titles.items()
    ]
    body = qml.vector_body(
        qml.categorised('"difference"', classes, "fill", "string"),
        columns,
        geometry_type=POLYGON,
        map_tip=f"<b>{pair}</b><br>{_as_read('difference', titles)}",
    )
    about = say("style.antennas_about")
    add_styles(layer, [LayerStyle("antenna_difference", say("style.antennas"), about, body)])
    entries = [(code, say(f"style.antenna.{name}"), "") for code, name in enumerate(DIFFERENCES)]
    for raster in rasters:
        write_text(raster.with_name(f"{raster.name}.aux.xml"), code_attributes(entries))


def style_relays(path: Path, *, of_homes: bool = True) -> None:
    """Give the layer `relays` of a GeoPackage its style: chosen hilltops filled, others open, all ranked.

    of_homes : whether it counts homes; without, land
    """
    columns = _columns(path, "relays")

    def marker(fill: str, edge: str) -> str:
        properties = {"name": "diamond", "color": qml.rgba(fill), "outline_color": qml.rgba(edge)}
        return qml.symbol_layer(
            "SimpleMarker", properties | {"outline_width": "0.5", "size": "4.5", "size_unit": "MM"}
        )

    classes = [
        Class("1", "1", say("style.relay.chosen"), marker(INK_DARK, INK_LIGHT)),
        Class("0", "0", say("style.relay.others"), marker(INK_LIGHT, INK_DARK)),
    ]
    counted = say("style.tip.homes" if of_homes else "style.tip.land")
    reached, harmed = (
        qml.number_shown(count_column(what, of_homes), counted) for what in ("reached", "harmed")
    )
    hilltop = say("style.tip.hilltop", rank=qml.number_shown("rank"))
    told = say("style.tip.reached", count=reached), say("style.tip.harmed", count=harmed)
    tip = "<br>".join([f"<b>{hilltop}</b>", *told])
    body = qml.vector_body(
        # to_int: QGIS keeps the column as true and false, which match no class written as a number
        qml.categorised('to_int("chosen")', classes, "marker"),
        columns,
        geometry_type=POINT,
        map_tip=tip,
        labelling=qml.labels(
            '"rank"', ink=INK_DARK, halo=INK_LIGHT, size_pt=8, bold=True, placement=6, distance_mm=1.2
        ),
    )
    name, about = say("style.relays"), say("style.relays_about")
    add_styles(path, [LayerStyle("relays", name, about, body, labelled=True)])


def _columns(path: Path, layer: str) -> list[str]:
    return list(pyogrio.read_info(path, layer=layer)["fields"])
