"""How the eight tiers look and what they are called: fills, painted squares, inks."""

from __future__ import annotations

from dataclasses import dataclass

KIND_TINTS = (
    "#F3E3B8", "#BCD0C6", "#E4C3B2", "#B4C3D6", "#DDD2E6", "#C9CD9C", "#9FB3B3", "#E9D9D2", "#A9A7BE",
)  # fmt: skip
"""For kinds without an order, such as stations; marks on the map tell them apart, in grey as well."""

SURE_GREYS = ("#FFFFFF", "#D6D6D6", "#A6A6A6", "#6E6E6E", "#262626")
"""How sure: over 90 % white, under 30 % black."""

SIGNAL_STEPS = (
    (90, "#F6ECF3"),
    (75, "#DDBFD8"),
    (60, "#B68DB6"),
    (45, "#8A6294"),
    (30, "#5B3F6B"),
    (None, "#2D1E3B"),
)
"""One station's field: from, fill. [dB(uV/m)]"""


def signal_steps() -> list[tuple[int | None, int | None, str]]:
    """Return one station's field by steps, the highest first: from, up to, fill; None has no end."""
    uppers = [None, *(lowest for lowest, _ in SIGNAL_STEPS[:-1])]
    return [(lowest, upper, fill) for (lowest, fill), upper in zip(SIGNAL_STEPS, uppers, strict=True)]


INSTEAD_FILLS = {"gained": "#E3A44B", "lost": "#1F4F56", "both": "#C9CD9C"}
"""One antenna instead of another: who gains the list, who loses it, who has it with both."""

ANTENNA_FILLS = ("#F0DFA8", "#7FA09C", "#2B3A4A")
"""One antenna of a catalogue: where it holds the list, where with an amplifier, and where it does not."""

FILL_OPACITY = 0.80
"""Opacity of a tier's fill over the relief."""

RELIEF_FLAT_GREY = 226
"""Grey of flat ground in the relief; painted squares are fills over this grey."""

INK_DARK = "#111111"
INK_LIGHT = "#FFFFFF"

HATCH_COLOUR = "#9A968E"
"""Hatch of tier 8: 1 px lines each 10 px at 45 degrees, only where a patch is 12 px wide."""

UNKNOWN_DOT_COLOUR = "#5A5A5A"
"""Unknown has no fill: dots of 2 px each 8 px."""


@dataclass(frozen=True)
class TierLook:
    """One tier as people see it.

    number : 1 to 8
    name : short name; a scenario's own tier table may rename tiers 1 to 7
    fill : raw colour, to be laid at FILL_OPACITY over the relief
    painted : the fill as it looks over flat relief, for legends, cards and printed squares
    ink : colour of the tier's number on the fill
    """

    number: int
    name: str
    fill: str
    painted: str
    ink: str

    @property
    def label(self) -> str:
        """Return number and name, as a legend row begins."""
        return f"{self.number} {self.name}"


TIERS: tuple[TierLook, ...] = (
    TierLook(1, "Shelf", "#FFECB8", "#F9EAC0", INK_DARK),
    TierLook(2, "Window", "#EFC17C", "#ECC890", INK_DARK),
    TierLook(3, "Loft", "#D29A63", "#D5A87C", INK_DARK),
    TierLook(4, "Gable", "#9C8068", "#AA9480", INK_DARK),
    TierLook(5, "Rooftop", "#4F6D6C", "#6C8484", INK_DARK),
    TierLook(6, "Rooftop + masthead amplifier", "#1F4F56", "#466C72", INK_LIGHT),
    TierLook(7, "Tall mast + masthead amplifier", "#002F3D", "#2D535E", INK_LIGHT),
    TierLook(8, "Not promised", "#010A14", "#2E353D", INK_DARK),
)


def tier_look(number: int) -> TierLook:
    """Return the look of tier 1 to 8. Raises KeyError for any other number."""
    if not 1 <= number <= len(TIERS):
        raise KeyError(f"tier must be 1 to {len(TIERS)}, got {number}")
    return TIERS[number - 1]


def rgb(colour: str) -> tuple[int, int, int]:
    """Return (red, green, blue), each 0 to 255, of a colour written #RRGGBB."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def painted(fill: str) -> str:
    """Return a fill as the map shows it: at FILL_OPACITY over flat relief, #RRGGBB."""
    flat = RELIEF_FLAT_GREY * (1 - FILL_OPACITY)
    return "#{:02X}{:02X}{:02X}".format(*(round(part * FILL_OPACITY + flat) for part in rgb(fill)))
