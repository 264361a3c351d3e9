"""The scripts and styles that are written into the page: Leaflet's, from its package, and our own."""

from __future__ import annotations

import importlib.metadata
import re
from pathlib import Path

from covermap.errors import CovermapError
from covermap.wording import palette

LEAFLET_PACKAGE = "XStatic-Leaflet"
HERE = Path(__file__).parent
SCRIPTS = (  # in this order: each uses only what stands above it while it is loaded
    "dom", "state", "words", "geodesy", "decode", "heights", "cell_layer", "modes",
    "picture", "patches", "patterns", "edges", "plates", "majority", "areas", "ridges", "aim_line",
    "context", "base_map",
    "scale", "summary", "own_list", "legend", "lists", "shows", "sheet", "drawing", "skyline", "profile",
    "cell_values", "card_words", "card_copy", "antennas", "card", "area_card", "position", "find", "where",
    "zones", "table", "take", "print", "keys", "start",
)  # fmt: skip
STYLES = ("base", "layout", "parts", "own_list", "card", "table", "print")


def leaflet(name: str) -> str:
    """Return 'leaflet.js' or 'leaflet.css' of the installed package, without links to other files."""
    for path in importlib.metadata.distribution(LEAFLET_PACKAGE).files or ():
        if path.name == name:
            text = Path(str(path.locate())).read_text(encoding="utf-8")
            break
    else:
        raise CovermapError(f"{LEAFLET_PACKAGE} holds no {name}. Install the package again.")
    text = re.sub(r"(?m)^//# sourceMappingURL=.*$", "", text)
    return re.sub(r"(?m)^\s*(background-image|behavior):\s*url\([^)]*\);\s*$", "", text)


def own_script() -> str:
    """Return our scripts as one strict script."""
    parts = [(HERE / "js" / f"{name}.js").read_text(encoding="utf-8") for name in SCRIPTS]
    return '"use strict";\n' + "\n".join(part.replace('"use strict";\n', "", 1) for part in parts)


def own_style(sure_fills: tuple[str, ...], signal_fills: tuple[str, ...]) -> str:
    """Return our styles; the colours of classes and steps come from the palette."""
    parts = [(HERE / "css" / f"{name}.css").read_text(encoding="utf-8") for name in STYLES]
    return "\n".join(
        [
            *parts,
            *_tier_rules(),
            *_key_rules("sure", sure_fills),
            *_key_rules("signal", signal_fills),
            *_key_rules("services", signal_fills),
            *_key_rules("kind", palette.KIND_TINTS),
            *_key_rules("antenna", palette.ANTENNA_FILLS),
        ]
    )


def _tier_rules() -> list[str]:
    rules = [
        f".tier_{look.number} {{ background-color: {look.painted}; color: {look.ink}; }}"
        for look in palette.TIERS
    ]
    hatch = f"repeating-linear-gradient(135deg, {palette.HATCH_COLOUR} 0 1.2px, transparent 1.2px 7px)"
    rules.append(f".tier_8 {{ background-image: {hatch}; }}")
    dot = palette.UNKNOWN_DOT_COLOUR
    dots = f"radial-gradient(circle, {dot} 1px, transparent 1.4px) 0 0 / 8px 8px"
    rules.append(f".square.unknown {{ background: {dots}; }}")
    rules.append(f".square.outside {{ border: 2px dashed {dot}; }}")
    return rules


def _key_rules(name: str, fills: tuple[str, ...]) -> list[str]:
    """Return the colours of a key as painted."""
    return [
        f".key .{name}_{order}, #ladder .{name}_{order} {{ background-color: {palette.painted(fill)}; }}"
        for order, fill in enumerate(fills)
    ]
