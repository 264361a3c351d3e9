"""QGIS styles of every raster of a result, written as .qml beside it and used again in the project."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np

from covermap.constants import UNKNOWN_UINT8
from covermap.gis_layers.qml import document
from covermap.gis_layers.raster_attributes import code_attributes, tier_attributes
from covermap.result.coverage import Coverage
from covermap.result.raster_catalogue import CELL_REMARKS, PLAN_REMARKS, layer_of
from covermap.result.whole_file import write_text
from covermap.wording.causes import cause_words
from covermap.wording.language import ENGLISH, messages, say
from covermap.wording.palette import KIND_TINTS, SURE_GREYS, TIERS, painted, signal_steps
from covermap.wording.retold import retold
from covermap.wording.tier_names import spoken_tier_names
from covermap.wording.verdicts import AMPLIFIER_CODES, amplifier_mark
from covermap.wording.words import between, chance_steps

ROOFTOP_TIER = 5  # the class "how sure" opens with
RELIEF_OPACITY = 0.10
"""Of the relief, which is multiplied over the classes: what lies in full shadow keeps 93 % of its colour."""
RELIEF_BRIGHTER = 76
"""Makes level ground, 180 of 255 under a light at 45 degrees, white: it leaves the colour under it alone."""
RELIEF_STEEPER = 4
CANVAS_GREY = 248
MULTIPLY = 6  # as QGIS numbers blending
_READ_CELLS = 1024

Step = tuple[float, str, str]  # upper end (inclusive), label or its message, colour

_MARGIN_STEPS: tuple[Step, ...] = (
    (-10, "margin_1", "#2D1E3B"),
    (-3, "margin_2", "#6F5780"),
    (3, "margin_3", "#B9A6BF"),
    (10, "margin_4", "#DCD3E0"),
    (float("inf"), "margin_5", "#F6F3F7"),
)
_DIFFERENCE_STEPS: tuple[Step, ...] = (
    (-10, "difference_1", "#5B3A29"),
    (-3, "difference_2", "#B08968"),
    (3, "difference_3", "#EFEBE4"),
    (10, "difference_4", "#8FB0A9"),
    (float("inf"), "difference_5", "#2F5D62"),
)
_WEIGHT_STEPS: tuple[Step, ...] = (
    (1, "weight_1", "#FFFFFF"),
    (25, "weight_2", "#E4DCE8"),
    (50, "weight_3", "#B7A3C2"),
    (float("inf"), "weight_4", "#6A4C7D"),
)
_DOUBT_STEPS: tuple[Step, ...] = (
    (1, "doubt_1", "#F4F1EA"),
    (2, "doubt_2", "#C9A27E"),
    (3, "doubt_3", "#95613F"),
    (float("inf"), "doubt_4", "#4A2A1B"),
)
_HOMES_STEPS: tuple[Step, ...] = (
    (0, "homes_1", "#FFFFFF"),
    (2, "homes_2", "#E3DCCF"),
    (10, "homes_3", "#BFAF94"),
    (50, "homes_4", "#84714F"),
    (float("inf"), "homes_5", "#3F3322"),
)
_SERVICES_STEPS: tuple[Step, ...] = (
    (0, "services_1", "#F2EFE8"),
    (2, "services_2", "#D9E0DE"),
    (5, "services_3", "#A9BDBB"),
    (10, "services_4", "#6F908F"),
    (20, "services_5", "#3F6566"),
    (float("inf"), "services_6", "#16383D"),
)
_DEAD_STEPS: tuple[Step, ...] = (
    (9, "dead_1", "#111111"),
    (49, "dead_2", "#7A7A7A"),
    (100, "dead_3", "#F2F2F2"),
)
_AMPLIFIER_COLOURS = ("#F1EDE4", "#1F4F56", "#5F8287", "#D9D2C5", "#B9AE9C", "#978B7A", "#8C5A6B")
_REMARKS = {"flags": CELL_REMARKS, "plan_flags": PLAN_REMARKS}
_AIM_ENDS = (22, 67, 112, 157, 202, 247, 292, 337, 360)
_AIM_COLOURS = (
    "#D9D2C5", "#C2B59B", "#A5957A", "#877A6B", "#6C7280", "#7F93A8", "#A3B8C9", "#C9D6DE", "#D9D2C5"
)  # fmt: skip


def write_raster_styles(coverage: Coverage) -> list[Path]:
    """Write the .qml of each raster, and of coded ones the names GDAL reads; return the paths."""
    written = []
    for name in coverage.raster_names():
        path = coverage.path(name)
        write_text(path.with_suffix(".qml"), document(raster_body(coverage, name)))
        written.append(path.with_suffix(".qml"))
        attributes = _attributes(coverage, name)
        if attributes is not None:
            sidecar = path.with_name(path.name + ".aux.xml")
            write_text(sidecar, attributes)
            written.append(sidecar)
    return written


def _attributes(coverage: Coverage, name: str) -> str | None:
    """Return the attribute table of a coded raster; None for one of numbers."""
    layer = layer_of(name)
    bands = layer.bands or len(coverage.tag_values(name, "SERVICES"))
    if _is_tier(layer.kind):
        return tier_attributes(spoken_tier_names(coverage.tier_names), bands)
    entries = _entries(coverage, name, layer.kind)
    return code_attributes(entries, bands) if entries else None


def _is_tier(kind: str) -> bool:
    return kind.startswith("tier") and kind not in ("tier_chance", "tier_cover_doubt")


def raster_title(coverage: Coverage, name: str) -> str:
    """Return what people read in place of a raster's name."""
    kind = layer_of(name).kind
    if f"raster.{kind}" not in messages(ENGLISH):
        return kind.replace("_", " ")
    rooftop = f"{ROOFTOP_TIER} {spoken_tier_names(coverage.tier_names)[ROOFTOP_TIER - 1]}"
    return say(f"raster.{kind}", antenna=rooftop, station=name.split("/")[-1])


def raster_body(coverage: Coverage, name: str, band: int = 1) -> str:
    """Return the style of a raster without the frame of a file; band : of those with one a service."""
    kind = layer_of(name).kind
    entries = _entries(coverage, name, kind)
    if entries:
        return _body(_paletted(entries, band))
    if kind == "tier_chance":
        return _body(_stepped(_chance_steps(), band=ROOFTOP_TIER))
    if kind == "services_count":
        return _body(_stepped(_said(_SERVICES_STEPS), band=ROOFTOP_TIER))
    steps: dict[str, Sequence[Step]] = {
        "margin": _said(_MARGIN_STEPS),
        "stored_margin": _said(_MARGIN_STEPS),
        "dead_zone_chance": _said(_DEAD_STEPS),
        "dead_zone_chance_3db_weaker": _said(_DEAD_STEPS),
        "dead_zone_chance_3db_stronger": _said(_DEAD_STEPS),
        "two_antennas_chance": _chance_steps(),
        "service_chance": _chance_steps(),
        "service_chance_one_lower": _chance_steps(),
        "tier_cover_doubt": _said(_DOUBT_STEPS),
        "aim": _aim_steps(),
        "second_aim": _aim_steps(),
        "aim_from": _aim_steps(),
        "aim_to": _aim_steps(),
        "second_opinion": _said(_DIFFERENCE_STEPS),
        "homes": _said(_HOMES_STEPS),
        "reading_weight": _said(_WEIGHT_STEPS),
        "homes_without_roof": _said(_HOMES_STEPS),
        "field": _field_steps(),
        "field_adjusted": _field_steps(),
    }
    if kind in steps:
        return _body(_stepped(steps[kind], band))
    return _body(_grey_ramp())


def _entries(coverage: Coverage, name: str, kind: str) -> list[tuple[int, str, str]]:
    """Return value, label and colour of a raster of classes; none for rasters of numbers."""
    if _is_tier(kind):
        return tier_entries(spoken_tier_names(coverage.tier_names))
    if kind in ("limiting_service", "deciding_service"):
        return _numbered(coverage.services(name.split("/")[0]))
    if kind in ("main_cause", "service_cause"):
        return _numbered([cause_in_words(cause) for cause in coverage.tag_values(name, "CAUSES")])
    if kind in ("interferer", "service_interferer"):
        names = coverage.run.get("station_names", {})
        return _numbered([names.get(station, station) for station in coverage.tag_values(name, "STATIONS")])
    if kind == "service_path":
        return _numbered(retold([words for _, words in layer_of(name).codes]))
    if kind in _REMARKS:
        return _remarks(coverage, name, _REMARKS[kind])
    if kind == "amplifier":
        coded = zip(AMPLIFIER_CODES.items(), _AMPLIFIER_COLOURS, strict=True)
        return [(number, amplifier_mark(code), colour) for (number, code), colour in coded]
    return []


def _numbered(labels: Sequence[str]) -> list[tuple[int, str, str]]:
    """Return an entry a label, numbered from 0."""
    return [
        (index, label, painted(KIND_TINTS[index % len(KIND_TINTS)])) for index, label in enumerate(labels)
    ]


def cause_in_words(cause: str) -> str:
    """Return a cause of main_cause in plain words."""
    return cause_words(cause)


def _remarks(coverage: Coverage, name: str, said: Sequence[tuple[int, str]]) -> list[tuple[int, str, str]]:
    """Return an entry for each sum of remarks the raster holds, each in a tint of its own."""
    found: set[int] = {0}
    # Only sums that occur: a legend of all 2^n would be mostly of lines that are nowhere on the map.
    for tile in coverage.grid.tiles(_READ_CELLS):
        found.update(int(value) for value in np.unique(coverage.read(name, tile)))
    entries = [(0, say("step.no_remark"), "#FFFFFF")]
    for index, value in enumerate(sorted(found - {0, UNKNOWN_UINT8})):
        words = ", ".join(retold([words for bit, words in said if value & bit]))
        entries.append((value, words, KIND_TINTS[index % len(KIND_TINTS)]))
    return entries


def _aim_steps() -> list[Step]:
    ends = enumerate(zip(_AIM_ENDS, _AIM_COLOURS, strict=True), start=1)
    return [(end, say(f"step.aim_{number}"), fill) for number, (end, fill) in ends]


def _said(steps: Sequence[Step]) -> list[Step]:
    """Return steps whose labels are messages, with their words."""
    return [(end, say(f"step.{key}"), fill) for end, key, fill in steps]


def relief_body() -> str:
    """Return the style of the ground as relief, multiplied over classes that none can be mistaken under.

    The colours stay those of the legend on level ground and in light, and darken only in shadow.
    """
    shade = (
        f'<rasterrenderer type="hillshade" band="1" azimuth="315" angle="45" zfactor="{RELIEF_STEEPER}" '
        f'multidirection="0" opacity="{RELIEF_OPACITY}" alphaBand="-1" nodataColor=""/>\n'
    )
    return _body(shade, smooth=True, brightness=RELIEF_BRIGHTER, blend=MULTIPLY)


def tier_entries(tier_names: Sequence[str]) -> list[tuple[int, str, str]]:
    """Return value, label and colour of each tier."""
    return [
        (look.number, f"{look.number} {name}", look.painted)
        for look, name in zip(TIERS, tier_names, strict=True)
    ]


def _chance_steps() -> list[Step]:
    """Return ranges of whole percents with the words people read, the lowest first."""
    steps = chance_steps()
    # Whole percents and inclusive upper ends: the class below 90 ends at 89.
    upper = [100.0, *(lowest - 1 for lowest, _ in steps[:-1])]
    rows = [
        (end, say("step.chance", low=f"{lowest:g}", high=f"{end:g}", words=words), painted(grey))
        for (lowest, words), end, grey in zip(steps, upper, SURE_GREYS, strict=True)
    ]
    return rows[::-1]


def _field_steps() -> list[Step]:
    """Return ranges of field strength, the lowest first."""
    return [
        (float("inf") if upper is None else float(upper), between(lowest, upper, " dB(µV/m)"), painted(fill))
        for lowest, upper, fill in signal_steps()[::-1]
    ]


def _paletted(entries: Sequence[tuple[int, str, str]], band: int = 1) -> str:
    rows = "".join(
        f'<paletteEntry value="{value}" color="{colour.lower()}" alpha="255" label={quoteattr(label)}/>\n'
        for value, label, colour in entries
    )
    return (
        f'<rasterrenderer type="paletted" band="{band}" opacity="1" alphaBand="-1" nodataColor="">\n'
        f"<colorPalette>\n{rows}</colorPalette></rasterrenderer>\n"
    )


def _stepped(steps: Sequence[Step], band: int = 1) -> str:
    """Return a renderer of ranges; each includes its upper end."""
    finite = [end for end, *_ in steps if end != float("inf")]
    rows = "".join(
        f'<item value="{end:g}" color="{colour.lower()}" alpha="255" label={quoteattr(label)}/>\n'
        for end, label, colour in steps
    )
    # Infinite ends stand in the items only; QGIS wants finite ones for the range.
    low, high = min(0.0, finite[0]), finite[-1]
    return (
        f'<rasterrenderer type="singlebandpseudocolor" band="{band}" opacity="1" alphaBand="-1" '
        f'nodataColor="" classificationMin="{low:g}" classificationMax="{high:g}">\n<rastershader>'
        f'<colorrampshader colorRampType="DISCRETE" classificationMode="1" clip="0" minimumValue="{low:g}" '
        f'maximumValue="{high:g}" labelPrecision="0">\n{rows}</colorrampshader></rastershader>'
        "</rasterrenderer>\n"
    )


def _grey_ramp() -> str:
    """Return plain greys between the least and greatest value, which QGIS finds itself."""
    return (
        '<rasterrenderer type="singlebandgray" grayBand="1" opacity="1" alphaBand="-1" nodataColor="" '
        'gradient="BlackToWhite"><minMaxOrigin><limits>MinMax</limits><extent>WholeRaster</extent>'
        "<statAccuracy>Estimated</statAccuracy></minMaxOrigin></rasterrenderer>\n"
    )


def _body(renderer: str, smooth: bool = False, brightness: int = 0, blend: int = 0) -> str:
    """Return the pipe around a renderer; classes and decibels are never smoothed."""
    smoothed = 'zoomedInResampler="bilinear" ' if smooth else ""
    return (
        '<pipe>\n<provider><resampling enabled="false" zoomedInResamplingMethod="nearestNeighbour" '
        f'zoomedOutResamplingMethod="nearestNeighbour" maxOversampling="2"/></provider>\n{renderer}'
        f'<brightnesscontrast brightness="{brightness}" contrast="0" gamma="1"/>\n'
        '<huesaturation saturation="0" grayscaleMode="0" colorizeOn="0"/>\n'
        f'<rasterresampler {smoothed}maxOversampling="2"/>\n'
        "<resamplingStage>resamplingFilter</resamplingStage>\n</pipe>\n"
        f"<blendMode>{blend}</blendMode>\n"
    )
