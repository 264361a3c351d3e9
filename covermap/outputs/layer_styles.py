"""QGIS styles of the vector layers, as the table layer_styles of a GeoPackage keeps them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

from covermap.outputs.columns import alias
from covermap.outputs.palette import FILL_OPACITY, HATCH_COLOUR, INK_DARK, TIERS, rgb

QGIS_VERSION = "3.22.0"
TIER_NAMES = tuple(look.name for look in TIERS)


@dataclass(frozen=True)
class LayerStyle:
    """One style of one layer.

    qml : the style as QGIS writes it
    default : whether QGIS opens the layer with it
    """

    table: str
    name: str
    description: str
    qml: str
    default: bool = True


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
    wanted = list_name.replace("'", "''")
    expression = f'CASE WHEN "wanted_list" = \'{wanted}\' THEN "{column}" END'
    outline = table == "neighbourhoods"
    categories = "".join(
        f'      <category render="true" value="{look.number}" type="integer" symbol="{look.number - 1}" '
        f"label={quoteattr(f'{look.number} {name}')}/>\n"
        for look, name in zip(TIERS, tier_names, strict=True)
    )
    symbols = "".join(_fill_symbol(look.number, look.fill, outline) for look in TIERS)
    renderer = (
        f'  <renderer-v2 type="categorizedSymbol" attr={quoteattr(expression)} enableorderby="0" '
        'forceraster="0" symbollevels="0">\n'
        f"    <categories>\n{categories}    </categories>\n    <symbols>\n{symbols}    </symbols>\n"
        "  </renderer-v2>\n"
    )
    tip = _map_tip(column, columns, tier_names)
    qml = _document(renderer, columns, opacity=FILL_OPACITY, geometry_type=2, map_tip=tip)
    return LayerStyle(table, f"Antenna needed: {list_name}", f"Tier, wanted list {list_name}", qml, default)


def transmitter_style(columns: Sequence[str]) -> LayerStyle:
    """Return the style of the transmitters: a dark triangle with a light edge."""
    symbol = (
        '    <symbols>\n      <symbol name="0" type="marker" alpha="1" clip_to_extent="1" force_rhr="0">\n'
        + _symbol_layer(
            "SimpleMarker",
            {
                "name": "triangle",
                "color": _rgba(INK_DARK),
                "outline_color": "255,255,255,255",
                "outline_width": "0.5",
                "size": "4",
                "size_unit": "MM",
            },
        )
        + "      </symbol>\n    </symbols>\n"
    )
    renderer = (
        f'  <renderer-v2 type="singleSymbol" symbollevels="0" forceraster="0">\n{symbol}  </renderer-v2>\n'
    )
    tip = f'<b>{_shown("service")}</b><br>{_shown("displayed_channel")}, [% "erp_kw" %] kW'
    qml = _document(renderer, columns, opacity=1.0, geometry_type=0, map_tip=tip)
    return LayerStyle("transmitters", "Stations", "Transmitters as understood", qml)


def _fill_symbol(number: int, fill: str, outline: bool) -> str:
    """Return the fill of a tier; tier 8 has a hatch over it."""
    layers = _symbol_layer(
        "SimpleFill",
        {
            "color": _rgba(fill),
            "style": "solid",
            "outline_style": "solid" if outline else "no",
            "outline_color": _rgba(INK_DARK),
            "outline_width": "0.3",
        },
    )
    if number == len(TIERS):
        hatch = {"color": _rgba(HATCH_COLOUR), "style": "b_diagonal", "outline_style": "no"}
        layers += _symbol_layer("SimpleFill", hatch)
    return (
        f'      <symbol name="{number - 1}" type="fill" alpha="1" clip_to_extent="1" force_rhr="0">\n'
        f"{layers}      </symbol>\n"
    )


def _symbol_layer(kind: str, properties: dict[str, str]) -> str:
    """Return one symbol layer, its properties in both notations QGIS 3 reads."""
    options = "".join(
        f'            <Option name="{name}" type="QString" value={quoteattr(value)}/>\n'
        for name, value in properties.items()
    )
    old = "".join(
        f'          <prop k="{name}" v={quoteattr(value)}/>\n' for name, value in properties.items()
    )
    return (
        f'        <layer class="{kind}" enabled="1" locked="0" pass="0">\n'
        f'          <Option type="Map">\n{options}          </Option>\n{old}        </layer>\n'
    )


def _document(
    renderer: str, columns: Iterable[str], *, opacity: float, geometry_type: int, map_tip: str
) -> str:
    """Return a whole style."""
    aliases = "".join(
        f'    <alias field={quoteattr(column)} index="{index}" name={quoteattr(alias(column))}/>\n'
        for index, column in enumerate(columns, start=1)
    )
    return (
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"
        f'<qgis version="{QGIS_VERSION}" styleCategories="Symbology|Fields|MapTips|Rendering">\n'
        f"{renderer}"
        "  <blendMode>0</blendMode>\n  <featureBlendMode>0</featureBlendMode>\n"
        f"  <layerOpacity>{opacity:g}</layerOpacity>\n"
        f"  <aliases>\n{aliases}  </aliases>\n"
        f"  <mapTip>{escape(map_tip)}</mapTip>\n"
        f"  <layerGeometryType>{geometry_type}</layerGeometryType>\n"
        "</qgis>\n"
    )


def _map_tip(column: str, columns: Sequence[str], tier_names: Sequence[str]) -> str:
    """Return what the pointer shows over a polygon: tier and homes."""
    shown = [escape(name).replace("'", "''") for name in tier_names]
    names = " ".join(f"WHEN {number} THEN '{number} {name}'" for number, name in enumerate(shown, start=1))
    homes = next((name for name in ("homes", "homes_total") if name in columns), None)
    heading = f"<b>{_shown('neighbourhood_name')}</b><br>" if "neighbourhood_name" in columns else ""
    tail = f"<br>[% coalesce(round(\"{homes}\"), 'unknown') %] homes" if homes else ""
    return f"{heading}[% CASE \"{column}\" {names} ELSE 'Unknown' END %]{tail}"


def _shown(column: str) -> str:
    """Return an expression that shows an attribute as text: a map tip is HTML, and names come from inputs."""
    return f"[% replace(replace(\"{column}\", '&', '&amp;'), '<', '&lt;') %]"


def _rgba(colour: str) -> str:
    return ",".join(str(part) for part in (*rgb(colour), 255))
