"""The `covermap` command: its list of commands, each loaded when asked for."""

from __future__ import annotations

import importlib

import click

import covermap
from covermap.cli.terminal import write_what_it_can

# command -> (module, one line for --help); the module is imported only when its command runs
COMMANDS = {
    "demo": ("covermap.cli.demo", "Write the demo scenario, so that there is something to run."),
    "new": ("covermap.cli.new", "Write a commented scenario with every key, and blank tables."),
    "stations": ("covermap.cli.stations", "A list of stations in any form becomes transmitters.csv."),
    "terrain": ("covermap.cli.terrain", "Open elevation and land cover fetched for a scenario."),
    "check": ("covermap.cli.check", "Read and cross-check all inputs; say what a run will cost."),
    "map": ("covermap.cli.map", "Which antenna each cell needs: map, layers, rasters, tables."),
    "address": ("covermap.cli.address", "The sheet of an address, or of a list of them."),
    "compare-antennas": (
        "covermap.cli.compare_antennas",
        "Antennas of the catalogue: for whom each holds the list, and where.",
    ),
    "antenna-test": (
        "covermap.cli.antenna_test",
        "A comparison log at one place: how much better an antenna is.",
    ),
    "calibrate": (
        "covermap.cli.calibrate",
        "Readings against the prediction: offsets, and whether to trust them.",
    ),
    "fieldwork": (
        "covermap.cli.fieldwork",
        "Where to measure next, blank forms, and reports against the map.",
    ),
    "changes": ("covermap.cli.changes", "Two results compared: who gains, who loses, in cells and homes."),
    "relays": ("covermap.cli.relays", "Shortlist of hilltops from which a relay would reach most homes."),
    "path": ("covermap.cli.path", "Path loss of single profiles, for checking the models."),
    "qgis-plugin": ("covermap.cli.qgis_plugin", "The QGIS plugin as an installable zip."),
}


class CommandsOnDemand(click.Group):
    """A group that knows its commands by name, so that --help answers at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order a newcomer needs them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in COMMANDS:
            return None
        return importlib.import_module(COMMANDS[cmd_name][0]).command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


@click.group(cls=CommandsOnDemand, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(covermap.__version__, prog_name="covermap")
def main() -> None:
    """Which class of television antenna every place needs, how surely, and why.

    Start with:  covermap demo demo  then  covermap map demo/scenario.toml
    """
    write_what_it_can()
