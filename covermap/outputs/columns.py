"""What people read in place of a column's name."""

from __future__ import annotations

from covermap.outputs.palette import TIERS

_ALIASES = {
    "neighbourhood_id": "Neighbourhood key",
    "neighbourhood_name": "Neighbourhood",
    "wanted_list": "Wanted list",
    "homes_total": "Homes",
    "homes_unknown": "Homes, unknown",
    "homes_rooftop_or_more": "Homes needing rooftop or more",
    "homes_without": "Homes with none of the listed services (expected)",
    "tier_half_of_homes": "Tier that serves half of the homes",
    "tier_ninety_percent_of_homes": "Tier that serves 90 % of the homes",
    "tier_half_of_land": "Tier that serves half of the land",
    "tier_ninety_percent_of_land": "Tier that serves 90 % of the land",
    "deciding_service": "Deciding service",
    "limiting_service": "Limiting service",
    "deciding_share_percent": "Homes it decides for, %",
    "aim_deg_true": "Aim, degrees from true north",
    "confidence_median_percent": "Median chance, %",
    "confidence_percent": "Chance of the whole list, %",
    "area_km2": "Area, km²",
    "unknown_area_percent": "Area unknown, %",
    "homes_year": "Year of the homes",
    "stations_as_of": "Stations as of",
    "features_without_count": "Home features without a count",
    "run_id": "Run",
    "patch_id": "Patch",
    "tier": "Tier",
    "tier_name": "Antenna needed",
    "homes": "Homes",
    "station_id": "Station",
    "service": "Service",
    "displayed_channel": "Channel shown on the set",
    "rf_channel": "RF channel",
    "frequency_mhz": "Frequency, MHz",
    "band": "Band",
    "erp_kw": "ERP, kW",
    "antenna_height_m": "Antenna above ground, m",
    "ground_terrain_m": "Ground by the terrain, m",
    "ground_filed_m": "Ground as filed, m",
    "polarization": "Polarization",
    "use": "Use",
    "system": "System",
    "as_of": "As of",
    "homes_decided": "Homes it decides for",
    "cell_id": "Cell",
    "field_dbuvm": "Field of the limiting service at 10 m, dB(µV/m)",
    "tier_at_50_percent": "Tier at 50 % sure",
    "margin_db": "Margin with the stored plan, dB",
    "services_kept_one_class_lower": "Services kept one class lower",
    "flags": "Flags",
    "key": "Key",
    "value": "Value",
}


def alias(column: str) -> str:
    """Return the name of a column as people read it; a column without one keeps its own."""
    if column in _ALIASES:
        return _ALIASES[column]
    text = column.replace("share_of_land_percent_", "Land, %: ").replace("homes_", "Homes: ")
    for look in TIERS:
        text = text.replace(f"expected_tier_{look.number}", f"expected {look.label}")
        text = text.replace(f"tier_{look.number}", look.label)
    return text.replace("_", " ")
