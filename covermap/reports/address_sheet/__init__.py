"""address_sheet: the sheet of one address, the day sheet of a list, the JSON; no script."""

from covermap.reports.address_sheet.files import sheet_html, write_sheets
from covermap.reports.address_sheet.record import address_record

__all__ = ["address_record", "sheet_html", "write_sheets"]
