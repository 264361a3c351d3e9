"""QGIS styles of what stands beside a result: changes between two of them, hilltops for a relay."""

from __future__ import annotations

from collections.abc import Sequence
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
from covermap.wording.palette import INK_DARK, INK_LIGHT, INSTEAD_FILLS

CHANGE_FILLS = {HARDER: "#1F4F56", EASIER: "#E3A44B", NOW_UNKNOWN: "#8C7FA0", NOW_KNOWN: "#C9C1D6"}
"""Those of the comparison's picture; what is only now known is lighter than what is only now unknown."""


def style_changes(path: Path) -> None:
    """Give the layer `changes` of a GeoPackage its style."""
    columns = _columns(path, "changes")
    classes = [
        Class(CHANGES[change], CHANGES[change], CHANGES[change].capitalize(), qml.plain_fill(fill))
        for change, fill in CHANGE_FILLS.items()
    ]
    # A tip must not name a column that the layer lacks.
    homes = f"<br>{qml.number_shown('homes', 'homes')}" if "homes" in columns else ""
    before, after = qml.number_shown("tier_before"), qml.number_shown("tier_after")
    body = qml.vector_body(
        qml.categorised('"change"', classes, "fill", "string"),
        columns,
        geometry_type=POLYGON,
        map_tip=f"<b>{qml.shown('change')}</b><br>class {before} before, {after} after{homes}",
    )
    add_styles(path, [LayerStyle("changes", "Changes", "Harder, easier, known, unknown", body)])


def style_antennas(layer: Path, rasters: Sequence[Path]) -> None:
    """Give the layer `antenna_difference` of a GeoPackage its style, and rasters of it their names."""
    columns = _columns(layer, "antenna_difference")
    titles = {"gained": "Only the other antenna holds the list", "lost": "Only the first one does"}
    classes = [
        Class(name, name, title, qml.plain_fill(INSTEAD_FILLS[name])) for name, title in titles.items()
    ]
    body = qml.vector_body(
        qml.categorised('"difference"', classes, "fill", "string"),
        columns,
        geometry_type=POLYGON,
        map_tip=f"<b>{qml.shown('other')} instead of {qml.shown('first')}</b><br>{qml.shown('difference')}",
    )
    add_styles(layer, [LayerStyle("antenna_difference", "Antennas", "Who gains or loses the list", body)])
    entries = [(code, name.capitalize(), "") for code, name in enumerate(DIFFERENCES)]
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
        Class("1", "1", "Chosen together", marker(INK_DARK, INK_LIGHT)),
        Class("0", "0", "Others, by themselves", marker(INK_LIGHT, INK_DARK)),
    ]
    reached, harmed = (
        qml.number_shown(count_column(what, of_homes), "homes" if of_homes else "km2 of land")
        for what in ("reached", "harmed")
    )
    tip = f"<b>Hilltop, rank {qml.number_shown('rank')}</b><br>{reached} reached<br>{harmed} harmed"
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
    add_styles(
        path, [LayerStyle("relays", "Hilltops for a relay", "A shortlist to visit", body, labelled=True)]
    )


def _columns(path: Path, layer: str) -> list[str]:
    return list(pyogrio.read_info(path, layer=layer)["fields"])
