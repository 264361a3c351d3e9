"""What a search for relays found."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd


@dataclass(frozen=True, eq=False)
class RelayShortlist:
    """What covermap.jobs.relays found.

    sites : one row a candidate worth a visit, chosen ones first, in WGS 84
    frequency_mhz, channels : what was assumed
    same_channel, beside : stations of the file on those channels, and one channel above or below
    homes_sought : homes the relay should bring to a rooftop antenna
    candidates : how many tops were tried
    """

    sites: gpd.GeoDataFrame
    list_name: str
    frequency_mhz: float
    channels: tuple[str, ...]
    same_channel: int
    beside: int
    homes_sought: float
    candidates: int
