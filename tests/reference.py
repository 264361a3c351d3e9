"""Where published check data stands, and the skip with a reason where it does not."""

import csv
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
REFERENCE = ROOT.parent / "shared" / "reference"
CHECK_VALUES = ROOT / "shared" / "check_values"


def reference_path(relative):
    """Return the path of a file or folder of the large reference set, or skip the test."""
    path = REFERENCE / relative
    if not path.exists():
        pytest.skip(f"published check data not present: {relative} (see DEVELOPERS.md)")
    return path


def read_rows(path):
    """Return the rows of a CSV file as dictionaries of text."""
    with open(path, newline="", encoding="utf-8") as handle:
        return list(csv.DictReader(handle))


def reference_rows(relative):
    """Return the rows of a CSV of the large reference set, or skip the test."""
    return read_rows(reference_path(relative))


def check_values(name):
    """Return the rows of a CSV of the project's own check values."""
    return read_rows(CHECK_VALUES / name)
