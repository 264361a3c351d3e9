"""Fixtures that several test files share."""

import pytest


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    """A headless browser with a new profile; closed behind the last test of a file."""
    from web_map_browser import WIDE, open_browser

    browser = open_browser(tmp_path_factory.mktemp("profile"), WIDE)
    yield browser
    browser.quit()
