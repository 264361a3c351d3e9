"""The QGIS style of the tier raster: exactly eight entries."""

from __future__ import annotations

from xml.sax.saxutils import quoteattr

from covermap.outputs.palette import FILL_OPACITY, TIERS


def tier_style() -> str:
    """Return a QGIS 3 style (qml) with one entry a tier; a bare colour table would list 256 rows."""
    entries = "".join(
        f'        <paletteEntry value="{look.number}" color="{look.fill.lower()}" alpha="255" '
        f"label={quoteattr(look.label)}/>\n"
        for look in TIERS
    )
    return (
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"
        '<qgis version="3.22.0" styleCategories="AllStyleCategories">\n'
        "  <pipe>\n"
        '    <provider>\n      <resampling enabled="false" zoomedInResamplingMethod="nearestNeighbour" '
        'zoomedOutResamplingMethod="nearestNeighbour" maxOversampling="2"/>\n    </provider>\n'
        f'    <rasterrenderer type="paletted" band="1" opacity="{FILL_OPACITY}" alphaBand="-1" '
        'nodataColor="">\n'
        f"      <colorPalette>\n{entries}      </colorPalette>\n"
        "    </rasterrenderer>\n"
        '    <brightnesscontrast brightness="0" contrast="0" gamma="1"/>\n'
        '    <huesaturation saturation="0" grayscaleMode="0" colorizeOn="0"/>\n'
        '    <rasterresampler maxOversampling="2"/>\n'
        "  </pipe>\n"
        "  <blendMode>0</blendMode>\n"
        "</qgis>\n"
    )
