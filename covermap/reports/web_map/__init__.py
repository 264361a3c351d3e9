"""web_map: map.html, one file that opens without a network."""

from covermap.planning.places import Place
from covermap.reports.web_map.page import write_map

__all__ = ["Place", "write_map"]
