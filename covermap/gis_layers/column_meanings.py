"""What each column of a layer means, with its unit, for the description GIS programs show."""

from __future__ import annotations

import re

from covermap.wording.palette import TIERS

# where a count can be of homes or of shares of land, the sentence is of homes
_MEANINGS = {
    "neighbourhood_id": "Key of the neighbourhood, from the input.",
    "neighbourhood_name": "Name of the neighbourhood, from the input.",
    "wanted_list": "Name of the wanted list the row is about; other lists have rows of their own.",
    "homes_total": "Homes in the neighbourhood, those of unknown cells included.",
    "homes_unknown": "Homes in cells whose tier is unknown.",
    "homes_rooftop_or_more": "Homes in cells of tiers 5 to 8.",
    "homes_rooftop_or_more_3db_weaker": "The same if every signal were 3 dB weaker.",
    "homes_rooftop_or_more_3db_stronger": "The same if every signal were 3 dB stronger.",
    "homes_expected_rooftop_or_more": "Homes that need tier 5 or more, expected, by chances.",
    "homes_expected_rooftop_or_more_low": "Low end of its 80 % range.",
    "homes_expected_rooftop_or_more_high": "High end of its 80 % range.",
    "homes_without": "Homes, expected, where not even tier 7 brings dead_zone_services of the list.",
    "homes_without_low": "Low end of its 80 % range.",
    "homes_without_high": "High end of its 80 % range.",
    "homes_without_3db_weaker": "Homes without, if every signal were 3 dB weaker.",
    "homes_without_3db_stronger": "Homes without, if every signal were 3 dB stronger.",
    "tier_half_of_homes": "Lowest tier, 1 to 8, that promises the list to half of the homes.",
    "tier_ninety_percent_of_homes": "Lowest tier, 1 to 8, that promises the list to 90 % of the homes.",
    "tier_half_without_deciding": "The tier for half of the homes without the deciding service, 1 to 8.",
    "deciding_service": "Service with the lowest chance one tier lower: it decides which antenna is needed.",
    "deciding_share_percent": "Share of the homes for which this service decides, in percent.",
    "limiting_service": "Service with the lowest chance in the stored plan.",
    "aim_deg_true": "Azimuth to aim at, in degrees clockwise from true north.",
    "aim_deg_magnetic": "The same from magnetic north, at the date of the run.",
    "second_aim_deg_true": "Azimuth of a second antenna, degrees from true north; missing where one will do.",
    "two_antennas_percent": "Share of the homes whose best plan has two antennas, in percent.",
    "high_vhf_percent": "Share of the homes that need an antenna for high VHF, in percent.",
    "amplifier_helps_percent": "Share of the homes where a masthead amplifier helps, in percent.",
    "amplifier_harms_percent": "Share of the homes where a masthead amplifier is overloaded, in percent.",
    "main_cause": "Why reception is hard here: ridges, earth_bulge, distance, clutter, noise, same_channel, "
    "next_channel, overload, filter or pattern_null; missing where it is not hard.",
    "confidence_median_percent": "Median over cells of the chance of the whole list with the plan, percent.",
    "confidence_percent": "Chance of the whole list with the stored plan, percent; in tier 8 that of tier 7.",
    "area_km2": "Area in square kilometres.",
    "unknown_area_percent": "Share of the area whose tier is unknown, in percent.",
    "homes_year": "Year the numbers of homes are of.",
    "stations_as_of": "Oldest date in the list of stations; younger rows may stand beside it.",
    "features_without_count": "Features of the homes input without a count.",
    "run_id": "Digest of the inputs of the run.",
    "patch_id": "Key of the patch.",
    "tier": "Lowest tier that is sure enough, 1 to 7; 8 is not promised; missing is unknown.",
    "tier_name": "Name of the tier in the run's tier table.",
    "tier_at_50_percent": "Lowest tier with a chance of 50 % or more, 1 to 8.",
    "homes_in_leaf": "Homes by the tier they need with the last wood before the antenna in leaf.",
    "homes_cover_doubt": "Homes of the tier that one class of land cover more or less before the home would "
    "move by two tiers or more.",
    "homes": "Number of homes; missing where homes are not known.",
    "homes_low": "Low end of the 80 % range.",
    "homes_high": "High end of the 80 % range.",
    "zone_id": "Key of the zone.",
    "kind": "dead: under 10 % chance that tier 7 brings any listed service; doubtful: 10 to 50 %.",
    "near_name": "Nearest place with a name.",
    "station_id": "Key of the transmitter.",
    "service": "Programme as viewers call it.",
    "displayed_channel": "Channel as the set shows it.",
    "rf_channel": "Channel the transmitter uses, in the scenario's channel plan.",
    "frequency_mhz": "Centre frequency in MHz.",
    "bandwidth_mhz": "Width of the channel in MHz.",
    "band": "low_vhf, high_vhf or uhf.",
    "erp_kw": "Effective radiated power in kW, re half-wave dipole.",
    "antenna_height_m": "Height of the antenna above ground, in metres.",
    "ground_terrain_m": "Ground at the mast by the terrain, metres above sea level.",
    "ground_filed_m": "Ground at the mast as filed, metres above sea level.",
    "polarization": "horizontal, vertical, slant or circular.",
    "use": "wanted, or interference only.",
    "system": "Transmission system, which sets the signal-to-noise ratio needed.",
    "required_cn_db": "Carrier-to-noise ratio the system needs, in dB.",
    "as_of": "Date of the row in the station list.",
    "letter": "By which every page, sheet and layer refers to the station.",
    "homes_decided": "Homes for which the station's service decides, in the first wanted list.",
    "mast": "Name of the structure.",
    "status": "on_air or as the input says.",
    "latitude_deg": "Latitude in degrees, WGS 84.",
    "longitude_deg": "Longitude in degrees, WGS 84.",
    "azimuth_pattern": "Name of the pattern around the mast; missing: all directions alike.",
    "elevation_pattern": "Name of the pattern up and down; missing: all angles alike.",
    "source": "File and line the row came from.",
    "ridge_id": "Key of the ridge.",
    "above_line_m": "How far the ridge rises above the line from mast to roof, in metres.",
    "homes_shaded": "Homes behind the ridge.",
    "rank": "1 is the place where a reading settles most.",
    "homes_settled": "Homes whose tier a reading here would settle.",
    "field_dbuvm": "Field strength, dB(uV/m), 50 % of time, 10 m; in cells the limiting service's.",
    "rule": "Rule the contour follows, with its document.",
    "cell_id": "row x columns + column of the grid, row 0 in the north.",
    "margin_db": "Worst margin with the stored plan, in dB; positive is good.",
    "services_kept_one_class_lower": "How many services stay sure enough one tier lower.",
    "flags": "Sum of 1 near a mast, 2 steep ray without an elevation pattern, 4 outside the asked area, "
    "8 ground filled in over a small gap of the elevation.",
    "key": "Name of the fact.",
    "value": "The fact.",
}


def meaning(column: str) -> str:
    """Return one sentence on what a column holds; columns of no layer of ours answer with an empty text."""
    if column in _MEANINGS:
        return _MEANINGS[column]
    counted = re.fullmatch(r"(homes|share_of_land_percent)_(expected_)?tier_([1-8])", column)
    if counted:
        what, expected, number = counted.groups()
        look = TIERS[int(number) - 1]
        of = "Homes" if what == "homes" else "Share of the land in percent"
        how = "expected, from the chances of each cell" if expected else "in cells of this tier"
        return f"{of}, {how}: {look.label} ({look.mounting})."
    if column.startswith("share_of_land_percent_"):
        of_homes = _MEANINGS.get("homes_" + column.removeprefix("share_of_land_percent_"), "")
        return of_homes and f"Share of the land, in percent. As homes: {of_homes}"
    if column.endswith("_of_land"):
        return _MEANINGS.get(column.replace("_of_land", "_of_homes"), "").replace("homes", "land")
    return ""
