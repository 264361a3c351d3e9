"""brief: brief.html, one page for people who decide; a still map, three numbers, what they rest on."""

from covermap.reports.brief.page import write_brief

__all__ = ["write_brief"]
