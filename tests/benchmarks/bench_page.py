"""Sizes and times of a finished map.html: python tests/benchmarks/bench_page.py PAGE [PAGE ...] [--times 3].

In headless Chromium of 1280 x 800 without a network, the median of several loads: from opening the file to
the first drawn map, from a click to the first card and to a second one, and from an unticked service until
the least classes are drawn. Needs chromium and chromedriver.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from web_map_browser import WIDE, open_browser, wait_for


def one(browser, page):
    """Return first map, first card, second card and own list, each in seconds."""
    begin = time.perf_counter()
    browser.get(page.as_uri())
    wait_for(browser, "document.body.dataset.ready")
    first_map = time.perf_counter() - begin
    script = """
        const done = arguments[0];
        const begin = performance.now();
        const {rows, cols} = page.facts.grid;
        const middle = Math.floor(rows / 2) * cols + Math.floor(cols / 2);
        const index = picture.tier.findIndex((tier, index) => index >= middle && tier <= 8);
        show_card({row: Math.floor(index / cols), col: index % cols}).then(() => {
            requestAnimationFrame(() => done((performance.now() - begin) / 1000));
        });
    """
    first_card = browser.execute_async_script(script)
    second_card = browser.execute_async_script(script)
    script = """
        const done = arguments[0];
        const begin = performance.now();
        tick_services([0], false).then(() => done((performance.now() - begin) / 1000));
    """
    return first_map, first_card, second_card, browser.execute_async_script(script)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("pages", type=Path, nargs="+")
    parser.add_argument("--times", type=int, default=3)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as profile:
        browser = open_browser(profile, WIDE)
        browser.set_script_timeout(120)
        try:
            for page in asked.pages:
                runs = [one(browser, page.resolve()) for _ in range(asked.times)]
                found = [statistics.median(values) for values in zip(*runs, strict=True)]
                grid = browser.execute_script("return page.facts.grid")
                facts = browser.execute_script("return [page.facts.stations.length, page.facts.station_step]")
                cells = grid["cell_rows"] * grid["cell_cols"]
                print(f"{page}: {page.stat().st_size / 1e6:.1f} MB, {cells} cells, {facts[0]} stations")
                print(
                    f"  blocks of {facts[1]}; first map {found[0]:.2f} s, first card {found[1]:.2f} s, "
                    f"next card {found[2]:.2f} s, own list {found[3]:.2f} s"
                )
        finally:
            browser.quit()


if __name__ == "__main__":
    main()
