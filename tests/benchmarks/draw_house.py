"""Draw the packages and their imports: python tests/benchmarks/draw_house.py CHECKOUT PICTURE.png.

A box a package, as tall as its lines of Python; a
package stands right of all it imports. An arrow for each pair that imports, as wide as the number of modules
that do; grey where the import is inside a function. Printed beside it: lines, modules, the longest module.
"""

from __future__ import annotations

import argparse
import ast
import math
from collections import Counter
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
from matplotlib import pyplot as plt
from matplotlib.patches import FancyArrowPatch, FancyBboxPatch

SHOWN_APART = (
    "errors",
    "constants",
    "kernel_cache",
    "linked_kernels",
    "numba_linking",
    "__init__",
    "__main__",
)
INK, PAPER, LINE, LATE = "#222222", "#F4EFE4", "#5B6F7A", "#C9C3B6"


def part_of(path: Path, package: Path) -> str:
    """Return the package inside covermap that a file belongs to, or its own name at the top level."""
    pieces = path.relative_to(package).parts
    return pieces[0] if len(pieces) > 1 else path.stem


def imports_of(path: Path) -> list[tuple[str, bool]]:
    """Return (part, whether inside a function) of every import of covermap in a file."""
    tree = ast.parse(path.read_text("utf-8"))
    top = set(map(id, tree.body))
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "covermap":
            pieces = node.module.split(".")
            names = [pieces[1]] if len(pieces) > 1 else [alias.name for alias in node.names]
            found += [(name, id(node) not in top) for name in names]
    return found


def measure(package: Path) -> tuple[dict[str, tuple[int, int, int]], Counter, Counter]:
    """Return part -> (lines, modules, longest module), and the imports between parts: at the top, inside."""
    sizes: dict[str, list[int]] = {}
    early: Counter = Counter()
    late: Counter = Counter()
    for path in sorted(package.rglob("*.py")):
        part = part_of(path, package)
        sizes.setdefault(part, []).append(len(path.read_text("utf-8").splitlines()))
        for target, inside in set(imports_of(path)):
            if target != part:
                (late if inside else early)[part, target] += 1
    return {part: (sum(rows), len(rows), max(rows)) for part, rows in sizes.items()}, early, late


def columns_of(parts: list[str], edges: list[tuple[str, str]]) -> dict[str, int]:
    """Return each part's column: one more than the farthest of what it imports."""
    column = dict.fromkeys(parts, 0)
    for _ in parts:  # as many rounds as a chain can be long; a cycle only shifts
        for user, used in edges:
            column[user] = max(column[user], min(column[used] + 1, len(parts)))
    return column


def draw(package: Path, picture: Path) -> None:
    """Draw one checkout's house."""
    sizes, early, late = measure(package)
    parts = [part for part in sizes if part not in SHOWN_APART]
    edges = [pair for pair in early if pair[0] in parts and pair[1] in parts]
    doors = [pair for pair in late if pair[0] in parts and not any(user == pair[0] for user, _ in edges)]
    column = columns_of(parts, edges + [pair for pair in doors if pair[1] in parts])
    rows: dict[int, list[str]] = {}
    for part in sorted(parts, key=lambda name: -sizes[name][0]):
        rows.setdefault(column[part], []).append(part)
    place = {}
    for x, names in rows.items():
        y = sum(0.7 + sizes[name][0] / 4000.0 for name in names) / 2.0
        for name in names:
            height = 0.35 + sizes[name][0] / 4000.0
            place[name] = (1.9 * x, y, height)
            y -= height + 0.35
    figure, axes = plt.subplots(figsize=(2.1 * (max(column.values()) + 1), 8))
    for (user, used), count in [*late.items(), *early.items()]:
        if user not in place or used not in place:
            continue
        inside = (user, used) not in early
        (x0, y0, h0), (x1, y1, h1) = place[user], place[used]
        axes.add_patch(
            FancyArrowPatch(
                (x0, y0 - h0 / 2), (x1 + 1.3, y1 - h1 / 2), arrowstyle="-|>", mutation_scale=8,
                lw=0.4 + 0.35 * math.sqrt(count), color=LATE if inside else LINE, alpha=0.7,
                connectionstyle="arc3,rad=0.08", zorder=1,
            )
        )  # fmt: skip
    for name, (x, y, height) in place.items():
        box = FancyBboxPatch(
            (x, y - height), 1.3, height, boxstyle="round,pad=0.02", fc=PAPER, ec=INK, zorder=2
        )
        axes.add_patch(box)
        lines, modules, longest = sizes[name]
        text = f"{name}\n{lines:,} lines, {modules}\nlongest {longest}"
        axes.text(x + 0.65, y - height / 2, text, ha="center", va="center", fontsize=7, color=INK, zorder=3)
    total = sum(size[0] for size in sizes.values())
    modules = sum(size[1] for size in sizes.values())
    axes.set_title(
        f"{total:,} lines in {modules} modules; what a package imports stands left of it", fontsize=9
    )
    axes.autoscale_view()
    axes.axis("off")
    figure.savefig(picture, dpi=110, bbox_inches="tight")
    for name, (lines, count, longest) in sorted(sizes.items()):
        print(f"{name:<16} {lines:>6} lines {count:>4} modules, longest {longest}")
    print(f"{'all':<16} {total:>6} lines {modules:>4} modules")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("checkout", type=Path)
    parser.add_argument("picture", type=Path)
    given = parser.parse_args()
    draw(given.checkout / "covermap", given.picture)
