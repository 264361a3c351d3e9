"""The columns of a station file that hold one of a few words."""

from __future__ import annotations

from covermap.scenario.suggestions import nearest
from covermap.scenario.text_table import Row

STATUS = {
    "": "on_air", "on_air": "on_air", "on air": "on_air", "licensed": "on_air", "active": "on_air",
    "planned": "planned",
}  # fmt: skip
# Words of a status under which nothing is on the air -> the reason given to people.
NOT_ON_AIR = {
    "off_air": "off air", "off air": "off air", "silent": "off air", "deleted": "deleted",
    "cancelled": "deleted", "canceled": "deleted", "expired": "expired",
    "filed": "filed only", "application": "filed only",
    "applied": "filed only", "pending": "filed only", "permit": "filed only",
    "construction permit": "filed only",
}  # fmt: skip
POLARIZATION = {
    "": "horizontal", "h": "horizontal", "horizontal": "horizontal", "v": "vertical", "vertical": "vertical",
    "slant": "slant", "s": "slant", "circular": "circular", "c": "circular",
}  # fmt: skip
ELLIPTICAL = ("e", "elliptical")
RADIO = ("fm", "am", "dab", "dab+", "radio", "hd_radio")
ANALOGUE = ("analogue", "analog", "ntsc", "pal", "secam")
USES = ("wanted", "interferer")


def reason_to_leave_out(row: Row) -> str:
    """Return why a row is no station to count (off air, filed only, radio, analogue), or an empty text."""
    reason = NOT_ON_AIR.get(row.text("status").lower(), "")
    if reason:
        return reason
    system = row.text("system").lower()
    if system in RADIO or _is_fm(row):
        return "radio"
    return "analogue" if system in ANALOGUE else ""


def _is_fm(row: Row) -> bool:
    """Return True for a row in the FM band (87.5 to 108 MHz) that names no television channel or system."""
    # low VHF channels of some plans reach into 87.5 to 108 MHz
    if row.text("rf_channel") or row.text("system"):
        return False
    frequency_mhz = row.number("frequency_mhz", "It must be a number of MHz. Correct the cell.")
    return frequency_mhz is not None and 87.5 <= frequency_mhz <= 108.0


def status(row: Row) -> str:
    """Return on_air or planned. Raises InputError for a word that is neither nor off the air."""
    word = row.text("status").lower()
    if word not in STATUS:
        known = ["on_air", "planned", "off_air", "filed"]
        raise row.wrong(
            "status", f"It must be one of {', '.join(known)}.{nearest(word, known)} Correct the cell."
        )
    return STATUS[word]


def polarization(row: Row, warnings: list[str]) -> str:
    """Return horizontal, vertical, slant or circular; an empty cell is horizontal."""
    word = row.text("polarization").lower()
    if word in ELLIPTICAL:
        warnings.append(
            f'{row.where}, column polarization: found "{row.text("polarization")}"; taken as horizontal, '
            "with the ERP of the row as its horizontal part."
        )
        return "horizontal"
    if word not in POLARIZATION:
        raise row.wrong("polarization", "It must be H, V, slant or circular. Correct the cell.")
    return POLARIZATION[word]


def use(row: Row) -> str:
    """Return wanted or interferer; an empty cell is wanted."""
    word = row.text("use").lower() or "wanted"
    if word not in USES:
        raise row.wrong("use", f"It must be wanted or interferer.{nearest(word, USES)} Correct the cell.")
    return word
