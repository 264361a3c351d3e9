"""The noise environment of a place: that of its land-cover class, or the scenario's one for all."""

from __future__ import annotations

import numpy as np

from covermap.reception.surroundings import ENVIRONMENT_NAMES, OF_OPTIONS
from covermap.scenario.settings import BY_LAND_COVER, ReceptionSettings
from covermap.terrain import Terrain

RESIDENTIAL = "residential"  # of homes of which no class is known


def environment_without_class(reception: ReceptionSettings) -> str:
    """Return the noise environment of homes of which no class is known."""
    return RESIDENTIAL if reception.noise_environment == BY_LAND_COVER else reception.noise_environment


def environment_at(
    reception: ReceptionSettings, terrain: Terrain, latitude_deg: float, longitude_deg: float
) -> str:
    """Return the noise environment of a place."""
    index = int(terrain.environment(np.array([longitude_deg]), np.array([latitude_deg]))[0])
    if reception.noise_environment != BY_LAND_COVER or index == OF_OPTIONS:
        return environment_without_class(reception)
    return ENVIRONMENT_NAMES[index]
