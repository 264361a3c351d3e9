"""A comparison log written into a catalogue: new texts of its tables, checked before any is kept."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from covermap.catalogue import AntennaCatalogue, catalogue_files, read_catalogue
from covermap.catalogue.update import with_rows
from covermap.errors import InputError
from covermap.measurements.antenna_test import AntennaTest
from covermap.measurements.bench_gains import BenchGain, bench_gains
from covermap.measurements.bench_rows import gain_rows, in_words, new_antenna_rows
from covermap.reception.bands import band_of
from covermap.wording.language import say


@dataclass(frozen=True)
class CatalogueUpdate:
    """New texts of a catalogue's files, and what they hold in sentences."""

    texts: dict[Path, str]
    sentences: tuple[str, ...]


def catalogue_update(test: AntennaTest, antennas: Path) -> CatalogueUpdate:
    """Return a catalogue with the gains of a test: an antenna's rows of a measured band give way to new ones.

    antennas : the catalogue's antennas.csv, which also says what the reference gains

    Raises InputError if the catalogue is wrong, or nothing in the log is fit for it; then there are no texts.
    """
    catalogue = read_catalogue(antennas)
    gains, refused = bench_gains(test)
    if not gains:
        raise InputError(f"{test.log.file}: nothing is written into {antennas.name}.\n" + "\n".join(refused))
    files = catalogue_files(antennas)
    measured = {(gain.candidate, gain.band) for gain in gains}

    def replaced(row: Mapping[str, str]) -> bool:
        return (row.get("antenna_id", "").strip(), _band(row)) in measured

    new = new_antenna_rows(gains, catalogue)
    rows = gain_rows(gains, catalogue)
    texts = {files["antenna_gains"]: with_rows(files["antenna_gains"], rows, replaced)}
    if new:
        texts[antennas] = with_rows(antennas, new, lambda row: False)
    # Read as a catalogue before anything is replaced: a text that would not read leaves the user's files
    # alone.
    _check(files, texts)
    return CatalogueUpdate(texts, (*_sentences(gains, new, catalogue, antennas), *refused))


def _band(row: Mapping[str, str]) -> str:
    """Return the band of a row of gains, told by its frequency where it has one."""
    frequency = row.get("frequency_mhz", "").strip()
    # as the reader does it (gain_rows.py): with a frequency its band follows, whatever the cell says
    return band_of(float(frequency)) if frequency else row.get("band", "").strip()


def _check(files: Mapping[str, Path], texts: Mapping[Path, str]) -> None:
    """Raise InputError unless the catalogue can be read with its new texts."""
    with tempfile.TemporaryDirectory() as folder:
        for path in files.values():
            copy = Path(folder) / path.name
            if path in texts:
                copy.write_text(texts[path], encoding="utf-8")
            else:
                shutil.copyfile(path, copy)
        read_catalogue(Path(folder) / files["antennas"].name)


def _sentences(
    gains: Sequence[BenchGain],
    new: Sequence[Mapping[str, str]],
    catalogue: AntennaCatalogue,
    antennas: Path,
) -> list[str]:
    said = [in_words(gain, catalogue) for gain in gains if gain.frequency_mhz != gain.frequency_mhz]
    channels = sum(gain.frequency_mhz == gain.frequency_mhz for gain in gains)
    if channels:
        said.append(say("bench.gain.channels", count=channels))
    names = ", ".join(row["antenna_id"] for row in new)
    if names:
        said.append(say("bench.gain.new", file=antennas.name, names=names))
    return said
