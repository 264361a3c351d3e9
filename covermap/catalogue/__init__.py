"""catalogue: antennas and devices as someone owns or sells them; an antenna at a mount as a tier.

It knows files and the records of reception; terrain, maps and commands it does not know.
"""

from covermap.catalogue.amplifiers import MOST_TRIED, amplifiers_for
from covermap.catalogue.difference import difference_ends
from covermap.catalogue.installed import Installed, Variant, device_by_id, device_of_kind, installed
from covermap.catalogue.mounting import MOUNTS, amplified, as_tier, mount_of
from covermap.catalogue.read import catalogue_files, read_catalogue, require_antennas_of
from covermap.catalogue.records import KINDS, Antenna, AntennaCatalogue, AntennaGain, Device, Span

__all__ = [
    "KINDS",
    "MOST_TRIED",
    "MOUNTS",
    "Antenna",
    "AntennaCatalogue",
    "AntennaGain",
    "Device",
    "Installed",
    "Span",
    "Variant",
    "amplified",
    "amplifiers_for",
    "as_tier",
    "catalogue_files",
    "device_by_id",
    "device_of_kind",
    "difference_ends",
    "installed",
    "mount_of",
    "read_catalogue",
    "require_antennas_of",
]
