"""Licence and dependencies: what a user may do, and with which versions this was run."""

import contextlib
import re
import tomllib
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.version import Version

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
EXTRAS = PROJECT["optional-dependencies"].values()
REQUIREMENTS = [Requirement(text) for some in (PROJECT["dependencies"], *EXTRAS) for text in some]
PAGE = (ROOT / "docs" / "reliability.md").read_text("utf-8")
TABLE = dict(re.findall(r"^\| ([\w-]+) \| (\d[\w.]*) \|$", PAGE, re.M))


@pytest.mark.parametrize("requirement", REQUIREMENTS, ids=str)
def test_every_dependency_has_an_upper_bound_and_a_version_it_was_run_with(requirement):
    assert any(part.operator == "<" for part in requirement.specifier)
    assert requirement.specifier.contains(TABLE[requirement.name])
    with contextlib.suppress(PackageNotFoundError):  # an extra that is not installed here
        assert requirement.specifier.contains(version(requirement.name))


def test_the_versions_that_were_run_are_versions():
    assert {requirement.name for requirement in REQUIREMENTS} == set(TABLE)
    assert all(Version(text) for text in TABLE.values())


def test_the_licence_is_there_and_travels_with_the_plugin():
    text = (ROOT / "LICENSE").read_text("utf-8")
    assert text.startswith("MIT License")
    assert PROJECT["license"] == "MIT"
    assert (ROOT / "covermap" / "qgis_plugin" / "LICENSE").read_text("utf-8") == text
