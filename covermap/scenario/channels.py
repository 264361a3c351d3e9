"""RF channels of the named plans: from a channel number to its frequency, and back."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cache, cached_property

from covermap.errors import InputError
from covermap.scenario.suggestions import nearest
from covermap.scenario.text_table import Row
from covermap.tables import load_table

LOWEST_MHZ, HIGHEST_MHZ = 30.0, 3000.0  # ITU-R P.1812 begins at 30 MHz; above 3 GHz there is no television
HIGH_VHF_FROM_MHZ = 120.0  # between the plans' low band (to 108 MHz) and high band (from 137 MHz)
UHF_FROM_MHZ = 300.0  # ITU Radio Regulations, article 2
OFFSET_MHZ = 0.3  # filed centres lie up to 0.17 MHz off the raster; two rasters are 0.5 MHz apart
DISPLAYED = re.compile(r"[0-9]+[.,:-][0-9]+")
WHOLE = re.compile(r"[0-9]{1,3}")


@dataclass(frozen=True)
class Channel:
    """One RF channel. number : of the label ("E5" -> 5), None for labels such as "9A"."""

    label: str
    number: int | None
    band: str
    lower_mhz: float
    centre_mhz: float
    upper_mhz: float
    use: str  # current | old | not_tv

    @property
    def width_mhz(self) -> float:
        """Return the channel's width."""
        return self.upper_mhz - self.lower_mhz


@dataclass(frozen=True)
class ChannelPlan:
    """A national plan: label -> channel."""

    name: str
    channels: dict[str, Channel]

    @cached_property
    def span(self) -> str:
        """Return the channels in use, as "2 to 36"."""
        current = [channel.label for channel in self.channels.values() if channel.use == "current"]
        return f"{current[0]} to {current[-1]}"

    @property
    def width_mhz(self) -> float:
        """Return the width of the plan's widest channel."""
        return max(channel.width_mhz for channel in self.channels.values())


@cache
def plan_names() -> tuple[str, ...]:
    """Return the names of the channel plans."""
    return tuple(dict.fromkeys(row["plan"] for row in load_table("channel_plans")))


@cache
def read_channel_plan(name: str) -> ChannelPlan:
    """Return a channel plan by name. Raises InputError naming the plans if there is none."""
    if name not in plan_names():
        raise InputError(
            f'[transmitters], channel_plan: found "{name}".{nearest(name, list(plan_names()))} '
            f"It must be one of {', '.join(plan_names())}. Change the key."
        )
    rows = [row for row in load_table("channel_plans") if row["plan"] == name]
    return ChannelPlan(name, {row["channel"]: _channel(row) for row in rows})


def _channel(row: dict[str, str]) -> Channel:
    label = row["channel"]
    return Channel(
        label=label,
        number=int(re.sub(r"\D", "", label)) if re.fullmatch(r"[ER]?\d+", label) else None,
        band=row["band"],
        lower_mhz=float(row["lower_mhz"]),
        centre_mhz=float(row["centre_mhz"]),
        upper_mhz=float(row["upper_mhz"]),
        use=row["use"],
    )


def band_of(frequency_mhz: float) -> str:
    """Return the band of a frequency: low_vhf, high_vhf or uhf."""
    if frequency_mhz < HIGH_VHF_FROM_MHZ:
        return "low_vhf"
    return "high_vhf" if frequency_mhz < UHF_FROM_MHZ else "uhf"


def read_channel(row: Row, plan: ChannelPlan | None, warnings: list[str]) -> Channel:
    """Return the RF channel of a station row, from rf_channel, frequency_mhz or both.

    Without a plan, or for a frequency on no channel of it, the label is empty and the width 0.
    Raises InputError if the channel is not in the plan or disagrees with the frequency.
    """
    frequency_mhz = _frequency_mhz(row)
    text = row.text("rf_channel")
    if not text and frequency_mhz is None:
        column = "rf_channel" if "rf_channel" in row.cells else "frequency_mhz"
        raise row.wrong(
            column, "A station needs rf_channel or frequency_mhz. Fill the cell or remove the row."
        )
    if not text:
        return _channel_at(row, float(frequency_mhz or 0.0), plan, warnings)
    channel = _channel_named(row, text, plan, warnings)
    if frequency_mhz is not None and not channel.lower_mhz <= frequency_mhz <= channel.upper_mhz:
        name = plan.name if plan else ""
        raise row.wrong(
            "rf_channel",
            f"The row also has frequency_mhz {frequency_mhz:g}, but channel {channel.label} of plan {name} "
            f"is {channel.lower_mhz:g} to {channel.upper_mhz:g} MHz. If rf_channel is the number shown on "
            "the set, put it in displayed_channel; else correct one of the two.",
        )
    return channel


def _frequency_mhz(row: Row) -> float | None:
    right = f"It must be a number of MHz from {LOWEST_MHZ:g} to {HIGHEST_MHZ:g}."
    frequency_mhz = row.number("frequency_mhz", f"{right} Correct the cell.")
    if frequency_mhz is not None and not LOWEST_MHZ <= frequency_mhz <= HIGHEST_MHZ:
        raise row.wrong("frequency_mhz", f"{right} Divide a value in kHz by 1000, in Hz by 1000000.")
    return frequency_mhz


def _channel_named(row: Row, text: str, plan: ChannelPlan | None, warnings: list[str]) -> Channel:
    if plan is None:
        raise InputError(
            f'{row.where}, column rf_channel: found "{text}", and [transmitters] names no channel_plan.\n'
            "  A channel's frequency depends on the country. Set channel_plan to one of "
            f"{', '.join(plan_names())}."
        )
    # Lists write RF21, ch 21 and 021; 9A and E5 keep their letters. What is nothing but zeros stays "0", to
    # be shown.
    label = text.upper().removeprefix("RF").removeprefix("CH").strip().lstrip("0") or "0"
    right = f"RF channel (a whole number, {plan.span} in plan {plan.name})"
    if DISPLAYED.fullmatch(label):
        raise row.wrong(
            "rf_channel",
            f"A number with a point is the one shown on the set. Put {text} in displayed_channel and the\n"
            f"  {right} in rf_channel.",
        )
    channel = plan.channels.get(label)
    if channel is None and WHOLE.fullmatch(label):
        channel = _unlettered(row, label, plan)
    if channel is None:
        raise row.wrong("rf_channel", f"It must be an {right}. Correct the cell, or channel_plan.")
    _check_use(row, channel, plan, warnings)
    return channel


def _unlettered(row: Row, label: str, plan: ChannelPlan) -> Channel | None:
    """Return the channel of a number written without its letter (5 for E5), where only one fits."""
    # Plans with two rasters have E5 and R5 on different frequencies: guessing one would be wrong by a
    # channel.
    fitting = [channel for channel in plan.channels.values() if channel.number == int(label)]
    if len(fitting) > 1:
        names = " or ".join(channel.label for channel in fitting)
        raise row.wrong("rf_channel", f"Plan {plan.name} has two channels of that number. Write {names}.")
    return fitting[0] if fitting else None


def _check_use(row: Row, channel: Channel, plan: ChannelPlan, warnings: list[str]) -> None:
    if channel.use == "not_tv":
        raise row.wrong(
            "rf_channel",
            f"Channel {channel.label} of plan {plan.name} is not used for television. "
            f"The channels are {plan.span}. Correct the cell, or channel_plan.",
        )
    if channel.use == "old":
        warnings.append(
            f"{row.where}, column rf_channel: channel {channel.label} of plan {plan.name} is no longer used "
            "for television. Is it an old list?"
        )


def _channel_at(row: Row, frequency_mhz: float, plan: ChannelPlan | None, warnings: list[str]) -> Channel:
    """Return the channel whose centre a frequency is; off the raster one without number and width."""
    near = [
        channel
        for channel in (plan.channels.values() if plan else ())
        if abs(channel.centre_mhz - frequency_mhz) <= OFFSET_MHZ and channel.use != "not_tv"
    ]
    if near:
        channel = min(near, key=lambda channel: abs(channel.centre_mhz - frequency_mhz))
        _check_use(row, channel, plan, warnings)  # type: ignore[arg-type]
        # the centre as filed, not the raster's: offsets are real
        return replace(channel, centre_mhz=frequency_mhz)
    if plan:
        warnings.append(
            f"{row.where}, column frequency_mhz: {frequency_mhz:g} is not the centre of a channel in plan "
            f"{plan.name}. It is used as it stands."
        )
    return Channel("", None, band_of(frequency_mhz), frequency_mhz, frequency_mhz, frequency_mhz, "current")
