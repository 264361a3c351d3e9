"""Packs the QGIS plugin into the zip that QGIS installs."""

from __future__ import annotations

import zipfile
from pathlib import Path

import covermap
from covermap.errors import InputError
from covermap.result.whole_file import whole_file

FOLDER_IN_ZIP = "covermap_plugin"
"""Name under which QGIS loads the plugin; that of the package itself would stand in its way."""

SUFFIXES = (".html", ".png", ".py", ".svg", ".txt")
_MOMENT = (2020, 1, 1, 0, 0, 0)  # of every file, so that equal contents make equal zips


def plugin_files() -> list[Path]:
    """Return the files of the plugin, sorted."""
    folder = Path(covermap.__file__).parent / "qgis_plugin"
    return sorted(path for path in folder.iterdir() if path.suffix in SUFFIXES or path.name == "LICENSE")


def write_plugin_zip(path: Path) -> Path:
    """Write the plugin as a zip and return its path; an earlier zip there is replaced.

    Raises InputError if the name does not end in .zip, or the file cannot be written.
    """
    path = Path(path)
    if path.suffix.lower() != ".zip":
        raise InputError(f"{path}: QGIS installs a file whose name ends in .zip. Name it {path.name}.zip.")
    if not path.absolute().parent.is_dir():
        raise InputError(f"{path}: there is no folder {path.absolute().parent}. Make it, or name another.")
    try:
        with whole_file(path.absolute()) as temporary, zipfile.ZipFile(temporary, "w") as archive:
            for file in plugin_files():
                entry = zipfile.ZipInfo(f"{FOLDER_IN_ZIP}/{file.name}", _MOMENT)
                entry.compress_type = zipfile.ZIP_DEFLATED
                entry.external_attr = 0o644 << 16
                archive.writestr(entry, file.read_bytes())
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error.strerror}. Name another file.") from error
    return path


def write_qgis_plugin(path: Path) -> str:
    """Write the QGIS plugin as a zip; return how to install it. Raises InputError when it cannot be."""
    write_plugin_zip(path)
    return (
        f"Wrote {path}. In QGIS: Plugins, Manage and Install Plugins, Install from ZIP.\n"
        "Then name the covermap command under Settings, Options, covermap, unless it is on PATH."
    )
