"""Themes of a QGIS project: which layers are shown together, in which of their styles."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import quoteattr

from covermap.gis_layers.layer_styles import NEEDED, OUTLINED, SURE
from covermap.gis_layers.project_groups import LayerGroup
from covermap.wording.language import say

FOR_PRINT = "qgis.theme.print"
# theme -> beginnings of the keys of its layers, each with the message of the style it is shown in
THEMES: dict[str, tuple[tuple[str, str], ...]] = {
    "qgis.theme.needed": (
        ("dead_zones_", ""), ("neighbourhoods_", OUTLINED), ("tier_areas_", NEEDED),
        ("transmitters_", ""), ("relief_", ""),
    ),
    "qgis.theme.sure": (
        ("neighbourhoods_", OUTLINED), ("tier_areas_", SURE), ("transmitters_", ""),
        ("relief_", ""),
    ),
    "qgis.theme.why": (
        ("dead_zones_", ""), ("ridges_", ""), ("raster_{list}/main_cause", ""), ("transmitters_", ""),
        ("relief_", ""),
    ),
    FOR_PRINT: (
        ("dead_zones_", ""), ("neighbourhoods_", OUTLINED), ("tier_areas_", NEEDED),
        ("transmitters_", ""), ("relief_", ""),
    ),
}  # fmt: skip
"""All themes are of the first wanted list; For print is what the page layouts follow."""


def themes_element(groups: Sequence[LayerGroup], first_list: str) -> str:
    """Return the <visibility-presets> of a project."""
    presets = "".join(_preset(say(theme), wanted, groups, first_list) for theme, wanted in THEMES.items())
    return f"<visibility-presets>\n{presets}</visibility-presets>\n"


def _preset(
    name: str, wanted: Sequence[tuple[str, str]], groups: Sequence[LayerGroup], first_list: str
) -> str:
    shown, names = [], []
    for group in groups:
        found = [
            _layer(layer.layer_id, _style(layer.styles, style, first_list))
            for layer in group.layers()
            for beginning, style in wanted
            if _is(layer.key, beginning.format(list=first_list), first_list)
        ]
        if found:
            shown += found
            names.append(group.name)
    checked = "".join(f"<checked-group-node id={quoteattr(one)}/>" for one in names)
    opened = "".join(f"<expanded-group-node id={quoteattr(one)}/>" for one in names)
    return (
        f'<visibility-preset name={quoteattr(name)} has-checked-group-info="1" has-expanded-info="1">\n'
        f"{''.join(shown)}<checked-group-nodes>{checked}</checked-group-nodes>\n"
        f"<expanded-group-nodes>{opened}</expanded-group-nodes>\n</visibility-preset>\n"
    )


def _is(key: str, beginning: str, first_list: str) -> bool:
    """Return whether a layer is meant: layers of one list must be of the first."""
    # Whole keys: the name of one list may begin with that of another.
    per_list = beginning in ("dead_zones_", "neighbourhoods_", "tier_areas_")
    return key == f"{beginning}{first_list}" if per_list else key.startswith(beginning)


def _style(styles: Sequence[str], message: str, first_list: str) -> str:
    """Return the style with the name of a message, else the layer's first."""
    named = say(message, list=first_list) if message else ""
    return named if named in styles else styles[0]


def _layer(layer_id: str, style: str) -> str:
    return (
        f'<layer id="{layer_id}" visible="1" expanded="0" style={quoteattr(style)}/>\n'
        f'<expanded-legend-nodes id="{layer_id}"/>\n'
    )
