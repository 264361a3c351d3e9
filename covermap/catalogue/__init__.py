"""catalogue: antennas and devices as someone owns or sells them; an antenna at a mount as a tier.

It knows files and the records of reception; terrain, maps and commands it does not know.
"""

from covermap.catalogue.installed import Installed, device_by_id, device_of_kind, installed
from covermap.catalogue.mounting import MOUNTS, amplified, as_tier, mount_of
from covermap.catalogue.read import catalogue_files, read_catalogue, require_antennas_of
from covermap.catalogue.records import KINDS, Antenna, AntennaCatalogue, AntennaGain, Device, Span

__all__ = [
    "KINDS",
    "MOUNTS",
    "Antenna",
    "AntennaCatalogue",
    "AntennaGain",
    "Device",
    "Installed",
    "Span",
    "amplified",
    "as_tier",
    "catalogue_files",
    "device_by_id",
    "device_of_kind",
    "installed",
    "mount_of",
    "read_catalogue",
    "require_antennas_of",
]
