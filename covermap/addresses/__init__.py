"""addresses: one point by its own exact paths, and what an installer asks for there."""

from covermap.addresses.report import AddressReport, CellValue
from covermap.addresses.site import Site

__all__ = ["AddressReport", "CellValue", "Site"]
