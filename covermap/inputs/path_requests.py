"""Which paths a scenario needs: stations of one antenna position share one request."""

from __future__ import annotations

from covermap.grid.blocks import BlockRequest
from covermap.grid.exact_path import itm_ground
from covermap.grid.fields import TIME_RULES
from covermap.grid.frame import Grid
from covermap.scenario import Scenario
from covermap.scenario.records import Station
from covermap.terrain import Terrain

PATH_HEIGHT_M = 10.0  # mounts at 10 m or more are paths of their own; lower ones are taken from this one

Position = tuple[float, float, float]  # latitude_deg, longitude_deg, antenna_height_m
Frequency = tuple[float, bool]  # frequency_mhz, whether vertically polarized


def path_requests(
    scenario: Scenario, terrain: Terrain, grid: Grid, heights_m: tuple[float, ...]
) -> tuple[tuple[BlockRequest, ...], tuple[int, ...], tuple[int, ...]]:
    """Return the requests, and for each station the index of its request and of its frequency there."""
    positions: dict[Position, dict[Frequency, int]] = {}
    for station in scenario.stations:
        frequencies = positions.setdefault(_position(station), {})
        # Stations on one channel and mast (a multiplex) share the path; ERP and pattern come in later.
        frequencies.setdefault(_frequency(station), len(frequencies))
    prediction = scenario.settings.prediction
    requests = tuple(
        BlockRequest(
            latitude_deg=latitude_deg,
            longitude_deg=longitude_deg,
            tx_height_m=tx_height_m,
            heights_m=heights_m,
            frequencies=tuple(frequencies),
            time_percents=(50.0, TIME_RULES[prediction.time_rule][0]),
            dn=prediction.dn,
            n0=prediction.n0,
            model=prediction.model,
            profile_step_m=prediction.profile_step_m,
            reach_km=prediction.reach_km,
            grid=grid,
            terrain_digest=terrain.digest,
            itm=itm_ground(prediction) if prediction.model == "itm" else None,
        )
        for (latitude_deg, longitude_deg, tx_height_m), frequencies in positions.items()
    )
    number = {position: index for index, position in enumerate(positions)}
    return (
        requests,
        tuple(number[_position(station)] for station in scenario.stations),
        tuple(positions[_position(station)][_frequency(station)] for station in scenario.stations),
    )


def _position(station: Station) -> Position:
    return station.latitude_deg, station.longitude_deg, station.antenna_height_m


def _frequency(station: Station) -> Frequency:
    # Slant and circular go as horizontal: P.1812 knows the two alone.
    return station.frequency_mhz, station.polarization == "vertical"
