"""Stations as people know them: service, letter and channel."""

from __future__ import annotations

from covermap.scenario.letters import station_letters
from covermap.scenario.records import Scenario
from covermap.wording.lists import channel_words


def station_names(scenario: Scenario) -> dict[str, str]:
    """Return station id -> service, letter and channel: 'Far Coast (K), RF 24'."""
    letters = station_letters(scenario)
    return {
        station.station_id: f"{station.service} ({letters[station.station_id]}), "
        + channel_words("", station.rf_channel, station.frequency_mhz, station.band)
        for station in scenario.stations
    }
