"""What a page holds of what was asked of the run's own reception for it."""

from __future__ import annotations

from dataclasses import dataclass

from covermap.reports.web_map.own_antennas import PageAntennas
from covermap.reports.web_map.own_list import ServiceTiers


@dataclass(frozen=True)
class PageAnswers:
    """What was asked; None leaves it out of the page.

    alone : the class each service needs by itself, for lists of the reader's own
    antennas : of a catalogue, where each holds a list
    """

    alone: ServiceTiers | None = None
    antennas: PageAntennas | None = None
