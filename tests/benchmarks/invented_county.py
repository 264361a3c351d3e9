"""An invented county to look at: python tests/benchmarks/invented_county.py FOLDER [--cells N] [--cell-m M].

60 x 60 km of invented_map.py's ground with 30 stations at five masts, homes in towns and hamlets,
neighbourhoods with long names, places, prices, and roads, rivers and town names as context. Names are made
of syllables; nothing stands for a real place, station or home.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import geopandas as gpd
import numpy as np
from invented_map import MASTS, STATION_COLUMNS, X_MIN, Y_MAX, write_scenario
from pyproj import Transformer
from shapely import get_parts, voronoi_polygons
from shapely.geometry import LineString, MultiPoint, Point, box

CRS = "EPSG:32631"
FIRST_CHANNELS = (7, 14, 20, 26, 31)  # six side by side at each mast, as channels are planned
STATIONS = 30
FIRST = (
    "Ald",
    "Ber",
    "Cor",
    "Dun",
    "Elm",
    "Fen",
    "Gar",
    "Hol",
    "Ivel",
    "Kel",
    "Lang",
    "Mar",
    "Nor",
    "Os",
    "Pen",
)
LAST = ("bury", "combe", "den", "field", "ham", "leigh", "ridge", "stead", "thorpe", "wick")
LONG = ("", "", "", "", " Parva", " Saint Aldred", "-under-the-Long-Edge", " and the Nethermost Hamlets")
KINDS = ("One", "Two", "News", "Weather", "Music", "Public Television of the Southern Valleys")
MASTS_NAMED = ("High Stone", "Cold Fell", "Grey Tor", "Long Barrow Summit", "West Knoll")
AREAS, TOWNS, HOMES = 90, 25, 42_000


def write_county(folder: Path, cells: int = 300, cell_m: float = 200.0) -> Path:
    """Write the county's scenario into a new folder; return its path."""
    rng = np.random.default_rng(23)
    scenario = write_scenario(folder, cells, STATIONS, cell_m=cell_m)
    side_m = cells * cell_m
    services = _write_stations(folder, side_m)
    towns = _spread(rng, TOWNS, side_m, 0.05)
    names = _names(rng, AREAS)
    outline = box(X_MIN, Y_MAX - side_m, X_MIN + side_m, Y_MAX)
    seeds = np.concatenate([towns, _spread(rng, AREAS - TOWNS, side_m, 0.02)])
    cells_of = get_parts(voronoi_polygons(MultiPoint([Point(*seed) for seed in seeds]), extend_to=outline))
    areas = [cell.intersection(outline) for cell in cells_of]
    _write(folder / "neighbourhoods.gpkg", areas, code=[f"N{n:02d}" for n in range(len(areas))], name=names)
    spots, counts = _homes(rng, towns, side_m)
    _write(folder / "homes.gpkg", [Point(*spot) for spot in spots], homes=counts)
    town_names = _names(rng, TOWNS)
    _write(folder / "places.gpkg", [Point(*town) for town in towns], name=town_names)
    _write(folder / "towns.gpkg", [Point(*town) for town in towns], name=town_names)
    order = np.argsort(towns[:, 0] + 0.3 * towns[:, 1])
    roads = [LineString(towns[order][at : at + 4]) for at in range(0, TOWNS - 3, 3)]
    _write(folder / "roads.gpkg", [*roads, LineString(towns[np.argsort(towns[:, 1])][::4])])
    _write(folder / "rivers.gpkg", [_river(rng, side_m, share) for share in (0.2, 0.55, 0.85)])
    prices = Path(__file__).resolve().parents[2] / "data_demo/prices.csv"
    (folder / "prices.csv").write_text(prices.read_text("utf-8"), "utf-8")
    kept = (
        scenario.read_text("utf-8").split("[wanted.main]")[0].replace('"Invented"', '"The Invented County"')
    )
    listed = ", ".join(f'"{service}"' for service in services[:8])
    scenario.write_text(
        f"""{kept}[wanted.main]
services = [{listed}]
[wanted.twelve_of_all]
at_least = 12
[homes]
file = "homes.gpkg"
count = "homes"
year = 2025
[areas]
neighbourhoods = "neighbourhoods.gpkg"
neighbourhood_key = "code"
neighbourhood_name = "name"
places = "places.gpkg"
[business]
prices = "prices.csv"
[map]
context = [
  "roads.gpkg",
  {{ file = "rivers.gpkg", draw = "water" }},
  {{ file = "towns.gpkg", draw = "label" }},
]
""",
        "utf-8",
    )
    return scenario


def _write_stations(folder: Path, side_m: float) -> list[str]:
    """Write 30 stations, six a mast, each on its own channel; return their services, strongest mast first."""
    to_degrees = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    lines, services = [STATION_COLUMNS], []
    for number in range(STATIONS):
        mast, place = number % len(MASTS), number // len(MASTS)
        longitude, latitude = to_degrees.transform(
            X_MIN + MASTS[mast][0] * side_m, Y_MAX - MASTS[mast][1] * side_m
        )
        services.append(f"{FIRST[3 * mast]}{LAST[mast]} {KINDS[place]}")
        lines.append(
            f"S{number:02d},{services[-1]},{MASTS_NAMED[mast]},{latitude:.7f},{longitude:.7f},150,"
            f"{FIRST_CHANNELS[mast] + place},{(10 if mast == 0 else 200) + 40 * place},H,2026-09-01"
        )
    (folder / "transmitters.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return services


def _spread(rng: np.random.Generator, count: int, side_m: float, edge: float) -> np.ndarray:
    """Return places (count, 2) at random, an edge's share of the side away from the rim."""
    shares = rng.uniform(edge, 1.0 - edge, (count, 2))
    return np.array([X_MIN, Y_MAX - side_m]) + shares * side_m


def _names(rng: np.random.Generator, count: int) -> list[str]:
    every = [first + last for first in FIRST for last in LAST]
    return [name + str(rng.choice(LONG)) for name in rng.permutation(every)[:count]]


def _homes(rng: np.random.Generator, towns: np.ndarray, side_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Return spots (N, 2) and homes (N,): towns of several sizes, and farms all over."""
    size = rng.zipf(1.7, len(towns)).clip(1, 40)
    per_town = np.maximum(20, 600 * size // size.max())
    near = np.concatenate(
        [town + rng.normal(0.0, 900.0, (n, 2)) for town, n in zip(towns, per_town, strict=True)]
    )
    spots = np.concatenate([near, _spread(rng, 900, side_m, 0.005)])
    counts = np.concatenate([rng.integers(3, 40, len(near)), rng.integers(1, 4, 900)])
    low, high = np.array([X_MIN, Y_MAX - side_m]) + 200.0, np.array([X_MIN + side_m, Y_MAX]) - 200.0
    return np.clip(spots, low, high), np.maximum(1, counts * HOMES // counts.sum())


def _river(rng: np.random.Generator, side_m: float, share: float) -> LineString:
    along = np.linspace(0.0, side_m, 60)
    across = share * side_m + np.cumsum(rng.normal(0.0, 500.0, along.size))
    return LineString(np.c_[X_MIN + along, Y_MAX - across])


def _write(path: Path, shapes: list, **columns: list) -> None:
    gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS).to_file(path, driver="GPKG")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--cells", type=int, default=300)
    parser.add_argument("--cell-m", type=float, default=200.0)
    asked = parser.parse_args()
    print(write_county(asked.folder, asked.cells, asked.cell_m))


if __name__ == "__main__":
    main()
