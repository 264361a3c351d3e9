"""Sizes and times of a finished map.html: python tests/benchmarks/bench_page.py PAGE [PAGE ...] [--times 3].

In headless Chromium of 1280 x 800 without a network, the median of several loads: from opening the file to
the first drawn map, from a click to the first card and to a second one, and from an unticked service until
the least classes are drawn. Each as wall time, which a busy machine draws out, and in brackets as processor
time of the page's own thread (Chromium's TaskDuration in thread ticks). Needs chromium and chromedriver.
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

REST_S = 3.0


def busy_s(browser):
    """Return the processor time that the page's thread has spent on tasks."""
    metrics = browser.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]
    return next(one["value"] for one in metrics if one["name"] == "TaskDuration")


def timed(browser, script):
    """Return what a script says it took, and the processor time behind it."""
    before = busy_s(browser)
    wall_s = browser.execute_async_script(script)
    return wall_s, busy_s(browser) - before


def one(browser, page):
    """Return first map, first card, second card and own list, each as wall and processor time. [s]"""
    browser.get("about:blank")
    before = busy_s(browser)
    begin = time.perf_counter()
    browser.get(page.as_uri())
    wait_for(browser, "document.body.dataset.ready")
    after = busy_s(browser)
    first_map = time.perf_counter() - begin, after - before if after > before else after  # or a new process
    time.sleep(REST_S)  # a reader looks before the first click
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
    first_card = timed(browser, script)
    second_card = timed(browser, script)
    script = """
        const done = arguments[0];
        const begin = performance.now();
        tick_services([0], false).then(() => done((performance.now() - begin) / 1000));
    """
    return first_map, first_card, second_card, timed(browser, script)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("pages", type=Path, nargs="+")
    parser.add_argument("--times", type=int, default=3)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as profile:
        browser = open_browser(profile, WIDE)
        browser.set_script_timeout(120)
        browser.execute_cdp_cmd("Performance.enable", {"timeDomain": "threadTicks"})
        try:
            for page in asked.pages:
                runs = [one(browser, page.resolve()) for _ in range(asked.times)]
                found = [
                    tuple(statistics.median(part) for part in zip(*values, strict=True))
                    for values in zip(*runs, strict=True)
                ]
                grid = browser.execute_script("return page.facts.grid")
                facts = browser.execute_script("return [page.facts.stations.length, page.facts.station_step]")
                cells = grid["cell_rows"] * grid["cell_cols"]
                print(f"{page}: {page.stat().st_size / 1e6:.1f} MB, {cells} cells, {facts[0]} stations")
                names = ("first map", "first card", "next card", "own list")
                told = [
                    f"{name} {wall:.2f} s ({cpu:.2f})" for name, (wall, cpu) in zip(names, found, strict=True)
                ]
                print(f"  blocks of {facts[1]}; {', '.join(told)}")
        finally:
            browser.quit()


if __name__ == "__main__":
    main()
