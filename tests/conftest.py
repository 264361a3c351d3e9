"""Fixtures that several test files share."""

import re
from functools import cache
from pathlib import Path

import pytest

# What makes a map or a sheet, or calls the kernels that do, which take a minute to compile: a test file that
# holds any of it is slow as a whole. Other tests that take over 3 s are marked where they stand.
MAKES_A_MAP = re.compile(
    r'"map"|predict\(|write_demo\(|write_coarse_demo|map_scenario|open_book|covermap\.address|shortlist|reception_places|receive\('
    r"|best_aim|aim_plan|RadialSweep|compute_block|small_coverage|web_map_case|browser|required_field|best_plan|pytest.mark.qgis"
)


@cache
def _is_slow(path: Path) -> bool:
    return MAKES_A_MAP.search(path.read_text("utf-8")) is not None


def pytest_collection_modifyitems(items):
    """Mark the tests of slow files, so that -m "not slow" leaves them out."""
    for item in items:
        if item.path.name != "test_guides.py" and _is_slow(item.path):
            item.add_marker("slow")


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    """A headless browser with a new profile; closed behind the last test of a file."""
    from web_map_browser import WIDE, open_browser

    browser = open_browser(tmp_path_factory.mktemp("profile"), WIDE)
    yield browser
    browser.quit()
