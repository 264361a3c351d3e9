"""Reads a catalogue whole: antennas, their gains and patterns, devices; or the generic one."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from covermap.catalogue.antenna_rows import read_antennas
from covermap.catalogue.device_rows import read_devices
from covermap.catalogue.gain_rows import read_gains
from covermap.catalogue.records import AntennaCatalogue
from covermap.catalogue.relative import with_differences
from covermap.errors import InputError
from covermap.reception.tiers import TierTable
from covermap.scenario.patterns import read_patterns
from covermap.scenario.suggestions import nearest

GAINS, DEVICES, PATTERNS = "antenna_gains.csv", "devices.csv", "antenna_patterns.csv"


def read_catalogue(path: Path | str | None = None) -> AntennaCatalogue:
    """Return antennas and devices of a user's antennas.csv and its neighbours, or the generic ones.

    path : of antennas.csv; in its folder stand antenna_gains.csv, and, where they are needed, devices.csv
        (without it the generic devices hold) and antenna_patterns.csv. None is the generic catalogue

    Raises InputError if anything in it is wrong: no part of a catalogue is returned.
    """
    antennas_file = Path(str(_shipped("antennas.csv"))) if path is None else Path(path)
    files = catalogue_files(antennas_file)
    if not files["antenna_gains"].is_file():
        raise InputError(
            f"{antennas_file.name} has no {GAINS} beside it: {files['antenna_gains']}. Add that table: "
            "antenna_id, band or frequency_mhz, gain_dbd, beamwidth_deg, front_to_back_db, source."
        )
    own = files.get("antenna_patterns")
    patterns, of_patterns = ({}, []) if own is None else read_patterns(own)
    devices, of_devices = read_devices(files["devices"])
    gains = read_gains(files["antenna_gains"], patterns)
    listed, of_antennas = read_antennas(antennas_file, gains, devices)
    # After all antennas are read: a difference may name one that stands further down.
    antennas, open_ends = with_differences(listed)
    warnings = (*of_antennas, *gains.warnings, *open_ends, *of_devices, *of_patterns)
    return AntennaCatalogue(antennas, devices, warnings)


def require_antennas_of(tiers: TierTable, catalogue: AntennaCatalogue, file: str) -> None:
    """Raise InputError where a tier of a user's table names an antenna that the catalogue does not have."""
    for tier in tiers:
        unknown = [name for name in tier.antennas if name not in catalogue.antennas]
        if unknown:
            raise InputError(
                f"{file}, tier {tier.tier}, column antennas: found {unknown[0]}, which the catalogue lacks."
                f"{nearest(unknown[0], list(catalogue.antennas))} Correct it, or empty the cell."
            )


def catalogue_files(antennas: Path) -> dict[str, Path]:
    """Return what a catalogue is read from, by part: antennas and antenna_gains, devices, patterns if any."""
    beside = antennas.parent
    own_devices = beside / DEVICES
    files = {
        "antennas": antennas,
        "antenna_gains": beside / GAINS,
        # All or none: single generic devices among a user's own would be sold as that user's.
        "devices": own_devices if own_devices.is_file() else Path(str(_shipped(DEVICES))),
    }
    if (beside / PATTERNS).is_file():
        files["antenna_patterns"] = beside / PATTERNS
    return files


def _shipped(name: str) -> object:
    return resources.files("covermap.tables").joinpath(name)
