"""Writes the figures of docs/validation.md and its pictures: write_validation.py [--judge CSV …]

Every model against each published set at hand, and against measured sets: number, mean, sd and worst of
predicted less published loss; of what is called so sure, how much holds. Sets that are not beside the
checkout (../shared/reference) are left out. What stands between "figures: NAME" and "end" is replaced.
"""

from __future__ import annotations

import argparse
import re
from collections import defaultdict
from pathlib import Path

import matplotlib
import matplotlib.pyplot as plt
import numpy as np
from validation_sets import (
    MEASURED,
    REFERENCE,
    ROOT,
    TOLD,
    Claims,
    Off,
    judged,
    published,
    trans_horizon,
    two_towns,
)

matplotlib.use("Agg")

PAGE, IMAGES = ROOT / "docs" / "validation.md", ROOT / "docs" / "images"
JUDGE = Path(__file__).parent / "judge_paths.csv"
CALLED = np.arange(10.0, 100.0, 5.0)


# --- pictures and page


def draw_off(off: list[Off], name: str) -> str:
    """Draw a set's differences, a dot a case, a row a model; return the words that show the picture."""
    figure, axes = plt.subplots(figsize=(5.6, 0.5 + 0.34 * len(off)), dpi=80, layout="constrained")
    rng = np.random.default_rng(1)
    for place, one in enumerate(off):
        axes.plot(
            one.off_db,
            place + rng.uniform(-0.18, 0.18, one.off_db.size),
            ".",
            ms=3,
            color="#28536B",
            alpha=0.6,
        )
        axes.plot([one.off_db.mean()] * 2, [place - 0.3, place + 0.3], color="#C2452D")
    axes.axvline(0.0, color="#888", lw=0.6)
    axes.set_yticks(
        range(len(off)), [one.model if len(off) < 3 else f"{one.set_name[:38]}: {one.model}" for one in off]
    )
    axes.set_ylim(len(off) - 0.4, -0.6)
    axes.tick_params(labelsize=7)
    axes.set_xlabel("predicted less published loss, dB (red: mean)", fontsize=7)
    figure.savefig(IMAGES / f"{name}.png", metadata={"Software": None})
    plt.close(figure)
    return f"![{off[0].set_name}](images/{name}.png)"


def draw_reliability(parts: list[tuple[str, list[Claims]]], name: str) -> None:
    """Draw how much holds of what is called so sure: a panel a set, dashed one figure, solid by path."""
    figure, panels = plt.subplots(
        1, len(parts), figsize=(3.4 * len(parts), 3.6), dpi=80, layout="constrained"
    )
    colours = ("#28536B", "#C2452D", "#5F8B3B", "#8A6FB0")
    for panel, (title, claims) in zip(np.atleast_1d(panels), parts, strict=True):
        panel.plot([0, 100], [0, 100], color="#999", lw=0.8)
        panel.fill_between([0, 100], [0, 100], color="#F4E3DC", lw=0)
        panel.text(98, 3, "rosy: holds less often", fontsize=6, ha="right", color="#A0503C")
        for colour, claim in zip(colours, claims, strict=False):
            for sigma in claim.sigma_db:
                if not sigma.endswith("with land cover"):
                    continue
                by_path = sigma.startswith("by path")
                held = [claim.held_percent(sigma, called) for called in CALLED]
                panel.plot(CALLED, held, "-" if by_path else "--", color=colour, lw=1.4,
                           label=claim.name.rsplit(", ", 1)[-1] if by_path else None)  # fmt: skip
                if by_path:
                    draw_told(panel, claim, sigma, colour)
        panel.set(xlim=(0, 100), ylim=(0, 100), aspect="equal")
        panel.set_title(title, fontsize=8)
        panel.set_xlabel("called, %", fontsize=7)
        panel.tick_params(labelsize=7)
        panel.legend(fontsize=6, loc="upper left", frameon=False)
    np.atleast_1d(panels)[0].set_ylabel("holds, %", fontsize=7)
    figure.savefig(IMAGES / f"{name}.png", metadata={"Software": None})
    plt.close(figure)


def draw_told(panel: plt.Axes, claim: Claims, sigma: str, colour: str) -> None:
    """Mark what holds of what is called 50, 70 and 90 % sure, with its 95 % interval."""
    held = np.array([claim.held_percent(sigma, called) for called in TOLD])
    ends = np.array([claim.between_percent(sigma, called) for called in TOLD])
    reach = np.abs(ends.T - held)
    panel.errorbar(TOLD, held, reach, fmt="o", ms=3.5, color=colour, elinewidth=0.9, capsize=2)


def written(page: str, name: str, text: str) -> str:
    """Return the page with the figures of that name replaced."""
    begin, end = f"<!-- figures: {name} -->", "<!-- end -->"
    pattern = re.compile(f"{re.escape(begin)}.*?{re.escape(end)}", re.S)
    if not pattern.search(page):
        raise SystemExit(f"{PAGE}: found no '{begin}'. Put it and '{end}' where the figures should stand.")
    return pattern.sub(lambda _: f"{begin}\n{text}\n{end}", page, count=1)


HEAD = "| set | model | n | mean dB | sd dB | worst dB |\n|---|---|---|---|---|---|"
HELD = "| evidence | sigma | n | 50 % | 70 % | 90 % |\n|---|---|---|---|---|---|"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--judge", type=Path, nargs="+", default=[JUDGE])
    asked = parser.parse_args()
    page = PAGE.read_text("utf-8")
    if (REFERENCE / "propagation").exists():
        off = published()
        groups: dict[str, list[Off]] = defaultdict(list)
        for one in off:
            groups[re.split(r"[ ,-]", one.set_name.replace("ITU-R ", ""))[0]].append(one)
        shown = [
            draw_off(group, f"validation_{name.lower().replace('.', '')}") for name, group in groups.items()
        ]
        page = written(page, "published", "\n".join([HEAD, *(one.row() for one in off), "", *shown]))
    if MEASURED.exists():
        far, far_claims = trans_horizon()
        towns, town_claims = two_towns()
        shown = [draw_off(far, "validation_iii01"), draw_off(towns, "validation_towns")]
        page = written(
            page, "measured", "\n".join([HEAD, *(one.row() for one in (*far, *towns)), "", *shown])
        )
        files = [file for file in asked.judge if file.exists()]
        claims = judged(files)
        smooth = [claim for claim in claims if "smooth" in claim.name]
        rough = [claim for claim in claims if "nothing" in claim.name]
        parts = [
            ("measured, trans-horizon", [one for one in far_claims if "ITM" not in one.name]),
            ("measured, two towns", town_claims),
        ]
        parts += [
            (title, some)
            for title, some in (("judge, smooth ground", smooth), ("judge, no reflection", rough))
            if some
        ]
        draw_reliability(parts, "reliability")
        rows = [
            row
            for claim in (*far_claims, *town_claims, *claims, *judged(files, "itm"))
            for row in claim.rows()
        ]
        text = "\n".join(
            [HELD, *rows, "", "![Of what is called so sure, how much holds](images/reliability.png)"]
        )
        page = written(page, "reliability", text)
    PAGE.write_text(page, "utf-8")


if __name__ == "__main__":
    main()
