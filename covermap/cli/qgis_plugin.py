"""`covermap qgis-plugin`: the plugin as a file."""

from pathlib import Path

import click

from covermap.cli.errors import errors_as_exit_status
from covermap.cli.terminal import say


@click.command("qgis-plugin")
@click.argument("file", type=click.Path(path_type=Path))
def command(file: Path) -> None:
    """Write the QGIS plugin to FILE, a zip that QGIS 3.22 or newer installs.

    \b
    covermap qgis-plugin covermap_plugin.zip
    """
    from covermap import jobs

    with errors_as_exit_status():
        say(jobs.write_qgis_plugin(file))
