"""What a meter or set shows: units of level, and which differences in them are decibels."""

from __future__ import annotations

from dataclasses import dataclass

from covermap.scenario.text_table import Row

# dBuV (75 ohm) = dBm + 108.75 and dBmV = dBm + 48.75: 10 log10(1 mW x 75 ohm), by calculation.
DBUV_FROM_DBM = 108.75
DBMV_FROM_DBM = 48.75

LEVEL, MER, STRENGTH, QUALITY = "level", "MER", "percent strength", "percent quality"


@dataclass(frozen=True)
class Scale:
    """One way of showing a signal.

    kind : level (any unit of it), MER, percent strength or percent quality; kinds are never mixed
    offset_db : value + offset_db is dBm; 0 for kinds other than level
    lowest, highest : values outside are no readings
    """

    name: str
    kind: str
    offset_db: float
    lowest: float
    highest: float

    @property
    def is_percent(self) -> bool:
        """Return whether a step of this scale says nothing about decibels by itself."""
        return self.kind in (STRENGTH, QUALITY)


SCALES = {
    scale.name.lower(): scale
    for scale in (
        Scale("dBm", LEVEL, 0.0, -120.0, 20.0),
        Scale("dBuV", LEVEL, -DBUV_FROM_DBM, -10.0, 130.0),
        Scale("dBmV", LEVEL, -DBMV_FROM_DBM, -70.0, 70.0),
        Scale("MER_dB", MER, 0.0, 0.0, 60.0),
        Scale("pct_strength", STRENGTH, 0.0, 0.0, 100.0),
        Scale("pct_quality", QUALITY, 0.0, 0.0, 100.0),
    )
}
OTHER_SPELLINGS = {"dbµv": "dbuv", "dbμv": "dbuv", "mer": "mer_db", "%_strength": "pct_strength"}
NOT_RECEIVED = {"nr", "not received", "none", "lost", "no signal", "no picture", "n/a", "-", "nil"}


def read_scale(row: Row, column: str) -> Scale:
    """Return the scale a row names. Raises InputError if it names none or an unknown one."""
    text = row.text(column).lower()
    scale = SCALES.get(OTHER_SPELLINGS.get(text, text))
    if scale is None:
        names = ", ".join(known.name for known in SCALES.values())
        raise row.wrong(
            column,
            f"A number without its unit says nothing. Write one of {names}; a bare per cent must say whether "
            "it is the strength or the quality bar.",
        )
    return scale


def check_range(row: Row, column: str, value: float, scale: Scale) -> None:
    """Raise InputError for a value that its scale cannot show."""
    if not scale.lowest <= value <= scale.highest:
        raise row.wrong(
            column,
            f"A reading in {scale.name} lies between {scale.lowest:g} and {scale.highest:g}. "
            "Look at the unit, or remove the row.",
        )


def says_not_received(text: str) -> bool:
    """Return whether a cell says in words that nothing was received."""
    return text.strip().lower() in NOT_RECEIVED


def read_decoded(row: Row) -> str:
    """Return yes, no, breaking or nothing. Raises InputError for another word."""
    text = row.text("decoded").lower()
    words = {"y": "yes", "n": "no", "1": "yes", "true": "yes", "false": "no", "partly": "breaking"}
    text = words.get(text, text)
    if text not in ("", "yes", "no", "breaking"):
        raise row.wrong("decoded", "Write yes, no or breaking (picture with faults).")
    return text
