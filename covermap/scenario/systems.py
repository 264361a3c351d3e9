"""Television systems: the C/N a tuner needs and the bandwidth in which noise counts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

from covermap.errors import InputError
from covermap.tables import load_table


@dataclass(frozen=True)
class System:
    """One system and mode of the table required_cn.csv."""

    name: str
    required_cn_db: float
    indoor_more_cn_db: float  # in a Rayleigh channel, without a direct ray; 0 where no figure is known
    bandwidth_mhz: float  # of noise, in the widest of its channels
    channel_widths_mhz: tuple[float, ...]
    sfn_window_us: float  # delay within which signals of one network add up

    def bandwidth_in(self, width_mhz: float) -> float:
        """Return the noise bandwidth in a channel of a width; width 0 stands for the widest. [MHz]"""
        widest_mhz = max(self.channel_widths_mhz)
        # Occupied bandwidth scales with the channel: the same number of carriers in 6, 7 or 8 MHz.
        return self.bandwidth_mhz * (width_mhz or widest_mhz) / widest_mhz

    def fits(self, width_mhz: float) -> bool:
        """Return True where the system is used in channels of a width; 0 is unknown and fits."""
        return not width_mhz or any(abs(width_mhz - width) < 0.01 for width in self.channel_widths_mhz)


@cache
def systems() -> dict[str, System]:
    """Return every system by name."""
    windows_us = {row["family"]: float(row["window_us"]) for row in load_table("sfn_windows")}
    return {
        row["system"]: System(
            row["system"],
            float(row["required_cn_db"]),
            float(row["rayleigh_cn_db"] or row["required_cn_db"]) - float(row["required_cn_db"]),
            float(row["bandwidth_mhz"]),
            tuple(float(width) for width in row["channel_widths_mhz"].split()),
            windows_us[row["system"].split("_")[0]],
        )
        for row in load_table("required_cn")
    }


def find_system(name: str, where: str) -> System:
    """Return a system by name. Raises InputError with what may be written if there is none.

    Another mode is never suggested for one that is not known: its C/N may differ by many dB.
    """
    found = systems().get(name.lower())
    if found is None:
        families = sorted({known.split("_")[0] for known in systems()})
        family = [known for known in systems() if known.startswith(name.lower().split("_")[0])]
        more = f" and {len(family) - 16} more" if len(family) > 16 else ""
        listed = f" Modes known of it: {', '.join(family[:16])}{more}." if family else ""
        raise InputError(
            f'{where}: found "{name}", which is not in the table.{listed}\n  It must be a system with its '
            f"mode. Families: {', '.join(families)}. Correct the name; or keep a mode of a known family that "
            "is not in the table, such as dvbt2_64qam_7_8, and give its C/N in the column required_cn_db."
        )
    return found


def own_system(name: str, required_cn_db: float) -> System | None:
    """Return a mode that the table lacks, its C/N as given and all else as its family; None of no family."""
    family = name.lower().split("_")[0]
    like = next((system for known, system in systems().items() if known.split("_")[0] == family), None)
    if like is None:
        return None
    # No Rayleigh figure is known of an own mode: indoors then asks for what outdoors does.
    return replace(like, name=name.lower(), required_cn_db=required_cn_db, indoor_more_cn_db=0.0)
