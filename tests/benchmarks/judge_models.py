"""Path-loss models minus the parabolic equation on random mast-to-home paths over elevation models.

judge_models.py DEM.tif [DEM.tif …] --csv OUT [--paths N] [--seconds S] [--seed K]   computes, adds to OUT
                                                           what it does not have of the seed yet
judge_models.py --report OUT [OUT …]                                                prints the tables
Masts of 30 to 300 m on local high ground, homes on slopes under 0.15, bare ground, nothing selected on the
answer. Differences are of area means: mean power over 8 to 12 m and the last 200 m.
"""

from __future__ import annotations

import argparse
import csv
import math
import time
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import rasterio
from pyproj import Transformer
from scipy.ndimage import map_coordinates

import covermap
from covermap.constants import EARTH_RADIUS_KM, FIELD_FROM_LOSS_DB
from covermap.grid.geodesy import WGS84
from covermap.propagation.parabolic import ParabolicGrid, propagation_factor
from covermap.propagation.ridges import path_class

BANDS = {69.0: "low_vhf", 195.0: "high_vhf", 600.0: "uhf"}
MODELS = ("p1812", "itm", "curves")
RX_M = np.linspace(8.0, 12.0, 9)
LAST_M = 200.0
POINT_M = 100.0  # between points of a profile
BULGE_RADIUS_M = 1000.0 * EARTH_RADIUS_KM * 157.0 / (157.0 - 45.0)
ITM = {"variability_mode": 3, "climate": 5, "n0": 301, "permittivity": 15, "conductivity_s_m": 0.005}
HOPELESS_DB = 60.0
TRUSTED_DB = 60.0  # of excess loss: beyond, the judge's own floor begins
Place = tuple[float, float]


class Ground:
    """An elevation model in memory, its heights straight between cells."""

    def __init__(self, path: str) -> None:
        with rasterio.open(path) as source:
            self.height = source.read(1).astype(float)
            self.to_cell = ~source.transform
            self.bounds = source.bounds
            self.to_grid = Transformer.from_crs("EPSG:4326", source.crs, always_xy=True)
            self.to_world = Transformer.from_crs(source.crs, "EPSG:4326", always_xy=True)

    def at(self, longitude, latitude):
        """Return heights at places, arrays in degrees."""
        x, y = self.to_grid.transform(np.asarray(longitude, float), np.asarray(latitude, float))
        t = self.to_cell
        col, row = t.a * x + t.b * y + t.c, t.d * x + t.e * y + t.f
        return map_coordinates(self.height, [row - 0.5, col - 0.5], order=1, mode="nearest")

    def anywhere(self, rng) -> Place:
        """Return a random place, longitude and latitude, inside the edges."""
        b = self.bounds
        inset_x, inset_y = 0.02 * (b.right - b.left), 0.02 * (b.top - b.bottom)
        x = rng.uniform(b.left + inset_x, b.right - inset_x)
        return self.to_world.transform(x, rng.uniform(b.bottom + inset_y, b.top - inset_y))


def link(ground: Ground, rng) -> tuple[Place, Place, float]:
    """Return a mast on the highest of 40 places within 3 km of a random one, a home, and their distance."""
    while True:
        lon, lat = ground.anywhere(rng)
        lons, lats, _ = WGS84.fwd(
            [lon] * 40, [lat] * 40, rng.uniform(0, 360, 40), 3000.0 * np.sqrt(rng.uniform(0, 1, 40))
        )
        best = int(np.argmax(ground.at(lons, lats)))
        home = ground.anywhere(rng)
        _, _, distance_m = WGS84.inv(lons[best], lats[best], *home)
        around = WGS84.fwd([home[0]] * 4, [home[1]] * 4, [0, 90, 180, 270], [100] * 4)
        g = ground.at(around[0], around[1])
        dry = ground.at(*[[v] for v in home])[0] > 0.5
        if 5e3 <= distance_m <= 80e3 and math.hypot(g[0] - g[2], g[1] - g[3]) / 200.0 < 0.15 and dry:
            return (lons[best], lats[best]), home, distance_m


def profile_of(ground: Ground, mast: Place, home: Place, distance_m: float) -> covermap.Profile:
    steps = math.ceil(distance_m / POINT_M)
    between = np.array(WGS84.npts(*mast, *home, steps - 1))
    lon = np.r_[mast[0], between[:, 0], home[0]]
    lat = np.r_[mast[1], between[:, 1], home[1]]
    return covermap.Profile(np.linspace(0.0, distance_m / 1000.0, steps + 1), ground.at(lon, lat))


def smooth_db(profile, frequency_mhz, tx_height_m):
    """Excess loss over smooth conducting ground: area mean."""
    _, factor = propagation_factor(
        profile,
        frequency_mhz=frequency_mhz,
        tx_height_m=tx_height_m,
        rx_heights_m=RX_M,
        last_m=LAST_M,
        grid=ParabolicGrid(cell_wavelengths=0.8 if frequency_mhz > 300.0 else 0.5),
    )
    return -10.0 * math.log10(max(float(np.mean(factor**2)), 1e-30))


def rough_db(profile, frequency_mhz, tx_height_m):
    """Excess loss over ground that reflects nothing: every point a thin edge; mean over 8 to 12 m."""
    x = 1000.0 * profile.distance_km
    top = profile.ground_m + x * (x[-1] - x) / (2.0 * BULGE_RADIUS_M)
    floor = top.min() - 1000.0
    level = covermap.Profile(profile.distance_km[[0, -1]], [0.0, 0.0])
    _, factor = propagation_factor(
        level,
        frequency_mhz=frequency_mhz,
        tx_height_m=tx_height_m + profile.ground_m[0] - floor,
        rx_heights_m=RX_M + profile.ground_m[-1] - floor,
        dn=None,
        edges=list(zip(x[1:-1] - 1.0, top[1:-1] - floor, strict=True)),
        grid=ParabolicGrid(50.0, 0.9, bottom_absorber_m=990.0),
    )
    return -10.0 * math.log10(max(float(np.mean(factor[-1] ** 2)), 1e-30))


def model_losses(profile, frequency_mhz, tx_height_m, latitude_deg):
    """Return the basic loss by each model at half of the time and places."""
    common = {"frequency_mhz": frequency_mhz, "tx_height_m": tx_height_m, "rx_height_m": 10.0}
    averaged = (profile.distance_km >= 3.2) & (profile.distance_km <= 16.1)
    haat_m = profile.ground_m[0] + tx_height_m - profile.ground_m[averaged].mean()
    field = covermap.curve_field(
        1.0, min(haat_m, 1600.0), profile.length_km, BANDS[frequency_mhz], "F(50,50)"
    )
    return {
        "p1812": covermap.p1812_loss(profile, latitude_deg=latitude_deg, **common).loss_db,
        "itm": covermap.itm_loss(profile, polarization="horizontal", **ITM, **common).loss_db,
        "curves": FIELD_FROM_LOSS_DB + 20.0 * math.log10(frequency_mhz / 1000.0) - float(field),
    }


def rows_of(ground_name, ground, number, rng, rough_each):
    mast, home, distance_m = link(ground, rng)
    profile = profile_of(ground, mast, home, distance_m)
    tx_height_m = float(np.exp(rng.uniform(math.log(30.0), math.log(300.0))))
    judged = 0.0
    for frequency_mhz in BANDS:
        common = {"frequency_mhz": frequency_mhz, "tx_height_m": tx_height_m, "rx_height_m": 10.0}
        slant_m = math.hypot(distance_m, profile.ground_m[0] + tx_height_m - profile.ground_m[-1] - 10.0)
        free_db = 20.0 * math.log10(4.0 * math.pi * slant_m * frequency_mhz / 299.792458)
        started = time.perf_counter()
        if judged < HOPELESS_DB:  # else a higher frequency loses still more: not run, counted as beyond
            judged = smooth_db(profile, frequency_mhz, tx_height_m)
        seconds = time.perf_counter() - started
        losses = model_losses(profile, frequency_mhz, tx_height_m, home[1])
        yield {
            "ground": ground_name, "path": number, "frequency_mhz": frequency_mhz,
            "distance_km": round(distance_m / 1000.0, 3), "tx_height_m": round(tx_height_m, 1),
            "hills": len(covermap.ridges(profile, **common)), "class": path_class(profile, **common),
            "smooth_db": round(judged, 2),
            "rough_db": round(rough_db(profile, frequency_mhz, tx_height_m), 2)
            if number % rough_each == 0 and judged < HOPELESS_DB
            else "",
            **{f"{name}_db": round(losses[name] - free_db, 2) for name in MODELS},
            "seconds": round(seconds, 2),
        }  # fmt: skip


def compute(paths: list[str], out: Path, count: int, seconds: float, seed: int, rough_each: int) -> None:
    """Add the paths of a seed that the file does not have yet; each has its own random numbers."""
    grounds = [(Path(path).stem, Ground(path)) for path in paths]
    done = {row["path"] for row in rows_in(out)} if out.exists() else set()
    started = time.monotonic()
    with open(out, "a", newline="", encoding="utf-8") as handle:
        for number in range(count):
            if f"{seed}-{number}" in done:
                continue
            if time.monotonic() - started > seconds:
                return
            name, ground = grounds[number % len(grounds)]
            found = list(rows_of(name, ground, number, np.random.default_rng([seed, number]), rough_each))
            writer = csv.DictWriter(handle, found[0].keys())
            if handle.tell() == 0:
                writer.writeheader()
            writer.writerows({**row, "path": f"{seed}-{number}"} for row in found)
            handle.flush()


def rows_in(file: str | Path) -> list[dict[str, str]]:
    with open(file, newline="", encoding="utf-8") as handle:
        return list(csv.DictReader(handle))


def number_of(row: dict[str, str], name: str) -> float:
    return float(row[name] or "nan")


def line(title: str, rows: list[dict[str, str]], judge: str) -> str | None:
    """Return a row of a table: mean and sd of each model minus the judge; None under 5 paths."""
    rows = [row for row in rows if not math.isnan(number_of(row, judge))]
    if len(rows) < 5:
        return None
    cells = []
    for model in MODELS:
        off = np.array([number_of(row, f"{model}_db") - number_of(row, judge) for row in rows])
        cells.append(
            f"{off.mean():+.1f} ± {off.std(ddof=1) / math.sqrt(off.size):.1f}, sd {off.std(ddof=1):.1f}"
        )
    return f"| {title} | {len(rows)} | " + " | ".join(cells) + " |"


def table(heading: str, groups: Iterable[tuple[str, Callable]], rows, judge: str) -> None:
    print(f"\n| {heading} | paths | P.1812 | ITM | curves |\n|---|---|---|---|---|")
    for title, chosen in groups:
        text = line(title, [row for row in rows if chosen(row)], judge)
        if text:
            print(text)


HILLS = (("no hill", {0}), ("one hill", {1}), ("two hills", {2}), ("three or more", set(range(3, 99))))


def report(files: list[str]) -> None:
    rows = [row for name in files for row in rows_in(name)]
    spent = np.array([number_of(row, "seconds") for row in rows])
    paths = len({row["path"] for row in rows})
    print(f"{paths} paths, judge {np.median(spent):.2f} s median, {spent.max():.1f} s most")
    for judge, word in (("smooth_db", "smooth ground"), ("rough_db", "ground that reflects nothing")):
        trusted = [row for row in rows if number_of(row, judge) < TRUSTED_DB]
        for frequency_mhz in BANDS:
            here = [row for row in trusted if float(row["frequency_mhz"]) == frequency_mhz]
            groups = [(title, lambda row, n=numbers: int(row["hills"]) in n) for title, numbers in HILLS]
            groups += [(f"class {k}", lambda row, k=k: row["class"] == k) for k in ("clear", "grazing")]
            table(f"{frequency_mhz:g} MHz, {word}, excess under 60 dB", groups, here, judge)
    trusted = [row for row in rows if number_of(row, "smooth_db") < TRUSTED_DB]
    groups = [
        (
            f"{low} to {high} km, {title}",
            lambda r, a=low, b=high, n=n: a <= float(r["distance_km"]) < b and int(r["hills"]) in n,
        )
        for low, high in ((5, 15), (15, 30), (30, 80))
        for title, n in HILLS
    ]
    table("distance, all bands, smooth", groups, trusted, "smooth_db")
    names = sorted({row["ground"] for row in rows})
    groups = [
        (f"{name}, {title}", lambda r, g=name, n=n: r["ground"] == g and int(r["hills"]) in n)
        for name in names
        for title, n in HILLS
    ]
    table("ground, all bands, smooth", groups, trusted, "smooth_db")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("dem", nargs="*")
    parser.add_argument("--csv", type=Path)
    parser.add_argument("--paths", type=int, default=2000)
    parser.add_argument("--seconds", type=float, default=1e9)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--rough-each", type=int, default=3, help="the second kind of ground on every so many paths"
    )
    parser.add_argument("--report", nargs="+")
    asked = parser.parse_args()
    if asked.report:
        report(asked.report)
    else:
        compute(asked.dem, asked.csv, asked.paths, asked.seconds, asked.seed, asked.rough_each)


if __name__ == "__main__":
    main()
