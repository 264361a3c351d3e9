"""relay_list: the shortlist of relay hilltops, as a layer, a table and a page."""

from covermap.reports.relay_list.write import write_relays

__all__ = ["write_relays"]
