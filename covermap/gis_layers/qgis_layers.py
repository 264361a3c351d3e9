"""Layers of a QGIS project as XML: a vector layer of the GeoPackage or a raster, with its style inside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from xml.sax.saxutils import escape, quoteattr

import pyproj

from covermap.gis_layers.layer_styles import LayerStyle
from covermap.gis_layers.qml import LINE, POINT, document

POINTS_ON_TOP, OUTLINES, SHADING, RASTERS, AREAS = range(5)
"""Drawing order, topmost first; the layer tree is ordered by what a reader asks first instead."""

_GEOMETRY_NAMES = {POINT: "Point", LINE: "Line"}


@dataclass(frozen=True)
class ProjectLayer:
    """One layer of a project.

    key : told apart by this; source : relative to the project; element : its <maplayer>
    shown, open : whether it is drawn, and its legend unfolded, when the project opens
    styles : names of its styles, the one it opens with first
    classes : of a raster: its legend shows these, without the line that describes the band
    depth : drawing order, see POINTS_ON_TOP and its neighbours
    """

    key: str
    title: str
    source: str
    provider: str
    element: str
    shown: bool = True
    open: bool = False
    depth: int = 0
    classes: int = 0
    styles: tuple[str, ...] = ("default",)

    @property
    def layer_id(self) -> str:
        """Return the id QGIS knows the layer by; one of 10 characters or fewer would crash 3.22."""
        return layer_id(self.key)

    @property
    def tree_element(self) -> str:
        """Return its line in the layer tree."""
        checked = "Qt::Checked" if self.shown else "Qt::Unchecked"
        return (
            f'<layer-tree-layer id="{self.layer_id}" name={quoteattr(self.title)} checked="{checked}" '
            f'expanded="{int(self.open)}" source={quoteattr(self.source)} providerKey="{self.provider}" '
            f'legend_exp="" patch_size="-1,-1"><customproperties>{self._legend}</customproperties>'
            "</layer-tree-layer>\n"
        )

    @property
    def _legend(self) -> str:
        """Return the order of its legend's lines, without the first; empty leaves the legend as it is."""
        if not self.classes:
            return ""
        order = ",".join(str(line) for line in range(1, self.classes + 1))
        return (
            f'<Option type="Map"><Option name="legend/node-order" type="QString" value="{order}"/></Option>'
        )


def layer_id(key: str) -> str:
    """Return a stable id for a layer: letters and digits of its key, and a digest."""
    # Two keys may be alike once their signs are gone; the digest, of the key as it is, tells them apart.
    plain = "".join(letter if letter.isascii() and letter.isalnum() else "_" for letter in key)
    return f"{plain}_{sha256(key.encode()).hexdigest()[:12]}"


@lru_cache(maxsize=16)  # every layer has it
def reference_system(crs_wkt: str) -> str:
    """Return a <spatialrefsys> with the full WKT, which also holds where the CRS has no code."""
    crs = pyproj.CRS.from_wkt(crs_wkt)
    authority = ":".join(crs.to_authority() or ())
    # srsid and srid 0: QGIS then goes by the WKT instead of its own list of systems.
    number = authority.split(":")[1] if authority.startswith("EPSG:") else "0"
    return (
        f'<spatialrefsys nativeFormat="Wkt"><wkt>{escape(crs_wkt)}</wkt><proj4></proj4>'
        f"<srsid>0</srsid><srid>{number}</srid><authid>{authority}</authid>"
        f"<description>{escape(crs.name)}</description><projectionacronym></projectionacronym>"
        "<ellipsoidacronym>EPSG:7030</ellipsoidacronym><geographicflag>false</geographicflag></spatialrefsys>"
    )


def vector_layer(
    key: str,
    title: str,
    file: str,
    table: str,
    styles: Sequence[LayerStyle],
    crs_wkt: str,
    *,
    where: str = "",
    metadata: str = "",
    shown: bool = True,
    open_legend: bool = False,
    depth: int = POINTS_ON_TOP,
) -> ProjectLayer:
    """Return a layer of a GeoPackage.

    styles : the first is the one it opens with
    where : SQL condition on its rows
    """
    source = f"./{file}|layername={table}" + (f"|subset={where}" if where else "")
    first = styles[0]
    kind = next(
        # The style knows it already; said twice it could differ.
        (name for number, name in _GEOMETRY_NAMES.items() if f"<layerGeometryType>{number}<" in first.body),
        "Polygon",
    )
    element = (
        f'<maplayer type="vector" geometry="{kind}" labelsEnabled="{int(first.labelled)}" '
        'hasScaleBasedVisibilityFlag="0" simplifyDrawingHints="1" simplifyDrawingTol="1" '
        'simplifyAlgorithm="0" simplifyLocal="1" simplifyMaxScale="1" '
        'readOnly="0" refreshOnNotifyEnabled="0" autoRefreshEnabled="0">\n'
        f"{_head(key, title, source, 'ogr', crs_wkt, metadata)}"
        f'<provider encoding="UTF-8">ogr</provider>\n{_style_manager(styles)}{first.body}'
        f"<previewExpression>{escape(_preview(table))}</previewExpression>\n</maplayer>\n"
    )
    names = tuple(style.name for style in styles)
    return ProjectLayer(key, title, source, "ogr", element, shown, open_legend, depth, styles=names)


def raster_layer(
    key: str,
    title: str,
    file: str,
    body: str,
    crs_wkt: str,
    *,
    metadata: str = "",
    shown: bool = False,
    depth: int = RASTERS,
) -> ProjectLayer:
    """Return a raster with its style."""
    classes = body.count("<paletteEntry ") + body.count("<item ")
    source = f"./{file}"
    element = (
        '<maplayer type="raster" hasScaleBasedVisibilityFlag="0" refreshOnNotifyEnabled="0" '
        'autoRefreshEnabled="0">\n'
        f"{_head(key, title, source, 'gdal', crs_wkt, metadata)}"
        '<provider>gdal</provider>\n<map-layer-style-manager current="default">'
        f'<map-layer-style name="default"/></map-layer-style-manager>\n{body}</maplayer>\n'
    )
    return ProjectLayer(key, title, source, "gdal", element, shown, False, depth, classes)


def _head(key: str, title: str, source: str, provider: str, crs_wkt: str, metadata: str) -> str:
    """Return what every layer begins with."""
    about = f"<resourceMetadata>\n{metadata}</resourceMetadata>\n" if metadata else ""
    return (
        f"<id>{layer_id(key)}</id>\n<datasource>{escape(source)}</datasource>\n"
        f"<layername>{escape(title)}</layername>\n<srs>{reference_system(crs_wkt)}</srs>\n{about}"
        "<flags><Identifiable>1</Identifiable><Removable>1</Removable><Searchable>1</Searchable></flags>\n"
    )


def _style_manager(styles: Sequence[LayerStyle]) -> str:
    """Return the styles a reader can change to; the current one stands in the layer itself."""
    others = "".join(
        f"<map-layer-style name={quoteattr(style.name)}>\n{_without_doctype(style)}</map-layer-style>\n"
        for style in styles[1:]
    )
    current = quoteattr(styles[0].name)
    return (
        f"<map-layer-style-manager current={current}>\n<map-layer-style name={current}/>\n{others}"
        "</map-layer-style-manager>\n"
    )


def _without_doctype(style: LayerStyle) -> str:
    # The first line: a doctype may stand only at the head of the project.
    return document(style.body, labelled=style.labelled).split("\n", 1)[1]


def _preview(table: str) -> str:
    columns = {"neighbourhoods": "neighbourhood_name", "tier_areas": "tier_name", "transmitters": "service"}
    return f'"{columns[table]}"' if table in columns else "$id"
