"""A headless Chromium with a page of the web map in it, for the browser tests."""

import os
import shutil
import time

import numpy as np
import pytest
from web_map_case import place_of_cell

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
NARROW, WIDE = (360, 740), (1280, 800)


def open_browser(profile, size, *, scripts=True):
    """Return a headless Chromium with its own profile, no network, and a page area of size."""
    if CHROMIUM is None or DRIVER is None:
        if os.environ.get("COVERMAP_REQUIRE_BROWSER") == "1":
            pytest.fail("COVERMAP_REQUIRE_BROWSER is 1, but chromium or chromedriver is not installed")
        pytest.skip("chromium and chromedriver are not installed")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    if not scripts:
        options.add_experimental_option("prefs", {"profile.managed_default_content_settings.javascript": 2})
    browser = webdriver.Chrome(options=options, service=Service(DRIVER))
    browser.set_script_timeout(20)
    offline = {"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0}
    browser.execute_cdp_cmd("Network.enable", {})
    browser.execute_cdp_cmd("Network.emulateNetworkConditions", offline)
    resize(browser, size)
    return browser


def resize(browser, size):
    """Set the page area, in CSS pixels."""
    metrics = {"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)


def wait_for(browser, script):
    """Wait until a script gives something true; fail after 30 s."""
    for _ in range(600):
        found = browser.execute_script(f"return {script}")
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError(f"never true in the browser: {script}")


def load(browser, case, size=WIDE):
    """Open the page of a case, (coverage, path), and wait until its map stands."""
    resize(browser, size)
    browser.get(case[1].as_uri())
    wait_for(browser, "document.body.dataset.ready")


def click_at(browser, x, y):
    """Click a point of the window."""
    for kind in ("mousePressed", "mouseReleased"):
        event = {"type": kind, "x": x, "y": y, "button": "left", "clickCount": 1}
        browser.execute_cdp_cmd("Input.dispatchMouseEvent", event)


def click_cell(browser, row, col):
    """Click the middle of a cell on the map and return the card's text."""
    longitude_deg, latitude_deg = place_of_cell(row, col)
    script = """
        page.map.setView([arguments[0], arguments[1]], zoom_for(16), {animate: false});
        const box = page.map.getContainer().getBoundingClientRect();
        page.map.panBy([0, box.height / 4], {animate: false});  // clear of a phone's sheet
        const point = page.map.latLngToContainerPoint([arguments[0], arguments[1]]);
        delete find("#card").dataset.row;
        return [box.left + point.x, box.top + point.y];
    """
    click_at(browser, *browser.execute_script(script, latitude_deg, longitude_deg))
    wait_for(browser, "find('#card').dataset.row !== undefined && page.chosen")
    return browser.execute_script("return find('#card').innerText")


def known_cell(coverage, tier):
    """Return (row, col) of a cell of a tier."""
    rows, cols = np.nonzero(coverage.read("main/tier") == tier)
    assert len(rows), f"the small result has no cell of tier {tier}"
    return int(rows[len(rows) // 2]), int(cols[len(rows) // 2])
