"""Television systems: the C/N a tuner needs and the bandwidth in which noise counts."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from covermap.errors import InputError
from covermap.scenario.suggestions import nearest
from covermap.tables import load_table


@dataclass(frozen=True)
class System:
    """One system and mode of the table required_cn.csv."""

    name: str
    required_cn_db: float
    bandwidth_mhz: float  # of noise, in the widest of its channels
    channel_widths_mhz: tuple[float, ...]
    sfn_window_us: float  # delay within which signals of one network add up

    def bandwidth_in(self, width_mhz: float) -> float:
        """Return the noise bandwidth in a channel of a width; width 0 stands for the widest. [MHz]"""
        widest_mhz = max(self.channel_widths_mhz)
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
            float(row["bandwidth_mhz"]),
            tuple(float(width) for width in row["channel_widths_mhz"].split()),
            windows_us[row["system"].split("_")[0]],
        )
        for row in load_table("required_cn")
    }


def find_system(name: str, where: str) -> System:
    """Return a system by name. Raises InputError with the nearest names if there is none."""
    found = systems().get(name.lower())
    if found is None:
        families = sorted({known.split("_")[0] for known in systems()})
        family = [known for known in systems() if known.startswith(name.lower().split("_")[0])]
        listed = ", ".join((family or list(systems()))[:8])
        raise InputError(
            f'{where}: found "{name}".{nearest(name, list(systems()))}\n  It must be a system with its mode, '
            f"such as {listed}. Families: {', '.join(families)}. Correct the name."
        )
    return found
