"""What a search for relays found."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd


@dataclass(frozen=True, eq=False)
class RelayShortlist:
    """What covermap.jobs.relays found.

    sites : one row a candidate worth a visit, chosen ones first, in WGS 84
    of_homes : whether the result knows homes; without, all is counted in km2 of land
    frequency_mhz, channels : what was assumed
    same_channel, beside : stations of the file on those channels, and one channel above or below
    sought : homes, or km2 of land, that the relay should bring to a rooftop antenna
    candidates : how many tops were tried
    """

    sites: gpd.GeoDataFrame
    of_homes: bool
    list_name: str
    frequency_mhz: float
    channels: tuple[str, ...]
    same_channel: int
    beside: int
    sought: float
    candidates: int

    def column(self, what: str) -> str:
        """Return the column of `sites` that counts reached, added, dead_zone_reached or harmed."""
        return count_column(what, self.of_homes)


def count_column(what: str, of_homes: bool) -> str:
    """Return the name of a column of counts: 'homes_reached', 'land_reached_km2'."""
    kind, _, verb = what.rpartition("_")
    named = f"{kind}_" if kind else ""
    return f"{named}homes_{verb}" if of_homes else f"{named}land_{verb}_km2"
