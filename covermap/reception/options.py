"""What a run says about reception: how sure, how uncertain, in what noise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

# Correlation of two paths' deviations at one receiver: of any two (clutter and height around it), and of
# two from one site in one band (the same ground and air). Judgement; docs/decisions/what_services_share.md.
HOME_CORRELATION, SITE_CORRELATION = 0.25, 0.85

NoiseTable = Mapping[tuple[str, str], tuple[float, float]]
SpreadTable = Mapping[tuple[str, str], tuple[float, float]]


@dataclass(frozen=True, eq=False)
class ReceptionOptions:
    """Settings of reception that hold for every cell.

    confidence_percent : chance of the wanted list that a tier must reach
    prediction_error_db : standard deviation of the prediction of a cell's mean, whatever stands in the way of
        the path, or "auto"
    path_spread_db : with "auto", (path class, band) -> that standard deviation with land cover, and without;
        a missing pair is an open path's
    has_land_cover : the prediction knew the surroundings; decides "auto" and the location spread
    cell_m : side of a cell
    noise_environment : city, residential, rural or quiet_rural, of homes of which nothing else is known
    building : traditional or thermally_efficient, likewise
    external_noise : (band, environment) -> (outdoor, indoor) noise in dB above kT0B; NaN or a missing
        VHF pair is the curve of ITU-R P.372, a missing UHF pair 1 dB outdoors and 3 dB indoors
    tuner_noise_figure_db : of the set
    dead_zone_services : how many services tier 7 must bring for a cell to be no dead zone
    home_correlation : of the deviations of any two paths to a home
    site_correlation : the same of two paths from one site in one band
    """

    confidence_percent: float = 90.0
    prediction_error_db: float | Literal["auto"] = "auto"
    path_spread_db: SpreadTable = field(default_factory=dict)
    has_land_cover: bool = True
    cell_m: float = 100.0
    noise_environment: str = "residential"
    building: str = "traditional"
    external_noise: NoiseTable = field(default_factory=dict)
    tuner_noise_figure_db: float = 7.0
    dead_zone_services: int = 1
    home_correlation: float = HOME_CORRELATION
    site_correlation: float = SITE_CORRELATION

    def at_other_default(self) -> ReceptionOptions:
        """Return the same options as if land cover were not known, or were known."""
        return replace(self, has_land_cover=not self.has_land_cover, prediction_error_db="auto")
