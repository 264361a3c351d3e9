"""The docs as a site: every public name has its place in the reference, every page of the menu exists."""

import re
import tomllib
from pathlib import Path

import covermap

ROOT = Path(__file__).resolve().parents[1]


def test_the_reference_lists_every_public_name():
    listed = {
        name.rsplit(".", 1)[1]
        for name in re.findall(r"^::: (\S+)$", (ROOT / "docs/api.md").read_text(), re.M)
    }
    assert {name for name in dir(covermap) if name in covermap.__all__} <= listed


def test_pages_of_the_menu_exist():
    pages = re.findall(r": ([\w/]+\.md)$", (ROOT / "mkdocs.yml").read_text("utf-8"), re.M)
    assert len(pages) > 10
    for page in pages:
        assert (ROOT / "docs" / page).exists(), page


def test_one_version_stands_everywhere():
    version = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["version"]
    assert covermap.__version__ == version
    assert f"\nversion={version}\n" in (ROOT / "covermap/qgis_plugin/metadata.txt").read_text("utf-8")
    assert re.search(r"^## (\S+)$", (ROOT / "docs/changelog.md").read_text("utf-8"), re.M)[1] == version
