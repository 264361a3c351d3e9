"""web_map: map.html, one file that opens without a network."""

from covermap.outputs.web_map.facts import Place
from covermap.outputs.web_map.page import write_map
from covermap.outputs.web_map.summary import ListSummary

__all__ = ["ListSummary", "Place", "write_map"]
