"""Makes the demo scenario: Skerra, an invented island in open ocean. Everything here is invented.

Run from this folder:  python make_demo.py

The seed is fixed, so the same files come out again. Needs only covermap's own dependencies.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
from rasterio.features import shapes
from rasterio.transform import from_origin
from scipy import ndimage
from shapely import get_parts
from shapely.geometry import MultiPoint, MultiPolygon, Point, shape
from shapely.ops import unary_union, voronoi_diagram

FOLDER = Path(__file__).resolve().parent
SEED = 20260901
CELLS = 380  # 38 x 38 km
CELL_M = 100.0
CRS = "EPSG:32625"
X_MIN, Y_MAX = 266_000.0, 4_894_000.0  # about 44 N, 36 W: open ocean
TRANSFORM = from_origin(X_MIN, Y_MAX, CELL_M, CELL_M)
HIGHEST_M = 842.0
HOMES = 4800
NEIGHBOURHOODS = 48
# a glen on the far side of the mountain, into which no mast looks: row, col, height of its head and its mouth
GLEN = ((258, 95, 60), (242, 87, 15))
GLEN_FLOOR_M, GLEN_WALL = 60.0, 1.8  # half the floor's width; how steep its walls are
GLEN_LIVED = (0.64, 0.88)  # the part where homes stand, 0 at the head
GLEN_HOMES = 44
GLEN_NAME = "Merrow Glen"

# land cover classes of covermap/tables/land_cover.csv
WATER, OPEN, SUBURBAN, TREES, URBAN = 1, 2, 3, 4, 5

FIRST = [
    "Corrin", "Fen", "Marl", "Tarn", "Vell", "Orrin", "Skell", "Brunn", "Hest", "Kald", "Lorn", "Noran",
    "Pell", "Quoy", "Rask", "Sull", "Thrum", "Ulv", "Wend", "Yarr", "Ambl", "Dunn", "Ekk", "Garr",
]  # fmt: skip
LAST = ["sett", "wick", "dale", "ness", "holm", "garth", "thwaite", "hope", "stead", "beck"]


def noise(rng: np.random.Generator, slope: float, longest_cells: float) -> np.ndarray:
    """Return fractal noise of unit spread; wavelengths over longest_cells are left out."""
    size = 512
    frequency = np.hypot(*np.meshgrid(np.fft.fftfreq(size), np.fft.fftfreq(size)))
    frequency[0, 0] = 1.0
    amplitude = frequency ** (-slope / 2.0) * (frequency > 1.0 / longest_cells)
    phase = rng.standard_normal((size, size)) + 1j * rng.standard_normal((size, size))
    field = np.fft.ifft2(amplitude * phase).real[:CELLS, :CELLS]
    return (field - field.mean()) / field.std()


def make_elevation(rng: np.random.Generator) -> np.ndarray:
    """Return heights in metres, 0 in the sea: a bent spine of hills with side valleys."""
    row, col = np.mgrid[0:CELLS, 0:CELLS]
    east = (col - CELLS / 2) / (CELLS / 2)
    north = (CELLS / 2 - row) / (CELLS / 2)
    angle = np.arctan2(north, east)
    rim = 0.74 + 0.08 * np.sin(2 * angle + 0.7) + 0.05 * np.sin(5 * angle) + 0.07 * noise(rng, 2.6, 160)
    inside = rim - np.hypot(east * 1.02, north * 1.1)  # 0 at the coast
    shore = np.clip(inside / 0.16, 0.0, 1.0)
    spine = np.exp(-((north - 0.55 * east - 0.10 * np.sin(4 * east)) ** 2) / 0.035)
    second = 0.62 * np.exp(-((north + 0.45 * east + 0.42) ** 2) / 0.012) * (east > -0.45)
    ridged = 1.0 - np.abs(noise(rng, 3.0, 110)) / 1.6
    hills = (
        0.10
        + 0.62 * spine * (0.45 + 0.75 * np.clip(ridged, 0, 1))
        + 0.45 * second * (0.5 + 0.6 * np.clip(ridged, 0, 1))
    )
    hills += 0.075 * noise(rng, 3.2, 70) + 0.02 * noise(rng, 2.4, 14)
    height = np.clip(hills, 0.012, None) * shore**1.3
    height = np.where(inside > 0.0, height, 0.0)
    land, count = ndimage.label(height > 0)
    sizes = ndimage.sum_labels(height > 0, land, np.arange(1, count + 1))
    for label, size in enumerate(sizes, start=1):
        if size < 30:
            height[land == label] = 0.0
    height *= HIGHEST_M / height.max()
    return np.where(height > 0, np.maximum(np.round(height), 1), 0).astype(np.int16)


def cut_glen(elevation: np.ndarray) -> np.ndarray:
    """Return the heights with the glen cut into the mountain: a steep trough that falls to its mouth."""
    row, col = np.mgrid[0:CELLS, 0:CELLS].astype(float)
    (top_row, top_col, top_m), (mouth_row, mouth_col, mouth_m) = GLEN
    along_row, along_col = mouth_row - top_row, mouth_col - top_col
    along = ((row - top_row) * along_row + (col - top_col) * along_col) / (along_row**2 + along_col**2)
    along = np.clip(along, 0.0, 1.0)
    away_m = CELL_M * np.hypot(row - top_row - along * along_row, col - top_col - along * along_col)
    walls = top_m + along * (mouth_m - top_m) + GLEN_WALL * np.clip(away_m - GLEN_FLOOR_M, 0.0, None)
    return np.where(elevation > 0, np.minimum(elevation, np.round(walls)), 0).astype(np.int16)


def lay_out_villages(rng: np.random.Generator, elevation: np.ndarray) -> list[tuple[int, int]]:
    """Return (row, col) of village centres: low, fairly flat ground, apart from one another."""
    steep = ndimage.maximum_filter(elevation, 7) - ndimage.minimum_filter(elevation, 7)
    good = (elevation > 3) & (elevation < 330) & (steep < 130)
    candidates = np.argwhere(good)
    rng.shuffle(candidates)
    chosen: list[tuple[int, int]] = []
    apart = 30.0
    while len(chosen) < NEIGHBOURHOODS:
        for row, col in candidates:
            if all(math.hypot(row - r, col - c) > apart for r, c in chosen):
                chosen.append((int(row), int(col)))
                if len(chosen) == NEIGHBOURHOODS:
                    break
        apart *= 0.93
    return sorted(chosen)


def make_homes(rng, elevation, villages):
    """Return homes per 100 m block and the village each block belongs to."""
    weight = rng.lognormal(0.0, 0.85, len(villages))
    weight /= weight.sum()
    homes = np.zeros(elevation.shape, dtype=int)
    for (row, col), share in zip(villages, weight, strict=True):
        wanted = max(12, round(HOMES * share))
        spread = 2.0 + 1.6 * math.sqrt(wanted / 40.0)
        placed = 0
        while placed < wanted:
            r = round(row + rng.normal(0, spread))
            c = round(col + rng.normal(0, spread))
            if 0 <= r < CELLS and 0 <= c < CELLS and elevation[r, c] > 1:
                homes[r, c] += 1
                placed += 1
    return homes


def add_glen_homes(homes: np.ndarray) -> None:
    """Put the glen's homes along its floor; with a seed of their own, so that no other home moves."""
    rng = np.random.default_rng(SEED + 1)
    (top_row, top_col, _), (mouth_row, mouth_col, _) = GLEN
    for along in rng.uniform(*GLEN_LIVED, GLEN_HOMES):
        row, col = top_row + along * (mouth_row - top_row), top_col + along * (mouth_col - top_col)
        homes[round(row), round(col + rng.uniform(-0.6, 0.6))] += 1


def make_land_cover(rng, elevation, homes) -> np.ndarray:
    """Return classes: sea, open ground, woods on middle slopes, villages."""
    cover = np.full(elevation.shape, OPEN, dtype=np.uint8)
    woods = (noise(rng, 2.6, 60) > 0.55) & (elevation > 40) & (elevation < 480)
    cover[woods] = TREES
    density = ndimage.gaussian_filter(homes.astype(float), 1.5)
    cover[density > 0.35] = SUBURBAN
    cover[density > 4.5] = URBAN
    cover[elevation == 0] = WATER
    return cover


def write_raster(name: str, values: np.ndarray, nodata, unit: str | None = None) -> None:
    """Write one band as a compressed GeoTIFF."""
    with rasterio.open(
        FOLDER / name,
        "w",
        driver="GTiff",
        width=CELLS,
        height=CELLS,
        count=1,
        dtype=values.dtype.name,
        crs=CRS,
        transform=TRANSFORM,
        nodata=nodata,
        compress="deflate",
        predictor=2,
        tiled=True,
    ) as raster:
        raster.write(values, 1)
        if unit:
            raster.units = (unit,)


def xy(row: float, col: float) -> tuple[float, float]:
    """Return the centre of a cell."""
    return X_MIN + (col + 0.5) * CELL_M, Y_MAX - (row + 0.5) * CELL_M


def make_names(rng: np.random.Generator, count: int) -> list[str]:
    """Return invented place names, each once."""
    names = [first + last for first in FIRST for last in LAST]
    rng.shuffle(names)
    return names[:count]


def write_neighbourhoods(elevation, villages, names) -> None:
    """Write neighbourhood polygons: the land nearest each village."""
    land = unary_union(
        [
            shape(geometry)
            for geometry, value in shapes((elevation > 0).astype(np.uint8), transform=TRANSFORM)
            if value == 1
        ]
    ).simplify(80.0)
    centres = [Point(*xy(row, col)) for row, col in villages]
    cells = list(voronoi_diagram(MultiPoint(centres), envelope=land.buffer(5000)).geoms)
    polygons = []
    for centre in centres:
        cell = next(cell for cell in cells if cell.contains(centre))
        polygons.append(cell.intersection(land))
    codes = [f"W{number:02d}" for number in range(1, len(names) + 1)]
    write_layer("neighbourhoods", {"ward_code": codes, "ward_name": names}, [areas_of(p) for p in polygons])


def areas_of(outline) -> MultiPolygon:
    """Return the areas of a shape alone, as one MultiPolygon."""
    parts = outline.geoms if hasattr(outline, "geoms") else [outline]
    return MultiPolygon([part for part in get_parts(list(parts)) if part.geom_type == "Polygon"])


def write_layer(name: str, columns: dict, geometry: list) -> None:
    """Write a layer of one kind of geometry as GeoPackage 1.2, which older programs open too."""
    pyogrio.write_dataframe(
        gpd.GeoDataFrame(columns, geometry=geometry, crs=CRS),
        FOLDER / f"{name}.gpkg",
        layer=name,
        driver="GPKG",
        geometry_type=geometry[0].geom_type,
        dataset_options={"VERSION": "1.2"},
    )


def write_area(elevation) -> None:
    """Write the area of the map: the land and 300 m of sea around it."""
    land = [
        shape(geometry)
        for geometry, value in shapes((elevation > 0).astype(np.uint8), transform=TRANSFORM)
        if value == 1
    ]
    area = unary_union(land).buffer(300.0).simplify(60.0)
    write_layer("area", {"name": ["Skerra"]}, [areas_of(area)])


def write_homes(homes: np.ndarray) -> None:
    """Write homes as one point a 100 m block, with a count."""
    rows, cols = np.nonzero(homes)
    points = [Point(*xy(row, col)) for row, col in zip(rows, cols, strict=True)]
    write_layer("homes", {"homes": homes[rows, cols]}, points)


def write_places(villages, names) -> None:
    """Write the villages' names for finding them on the map."""
    lived = sum(GLEN_LIVED) / 2.0
    glen = [GLEN[0][axis] + lived * (GLEN[1][axis] - GLEN[0][axis]) for axis in (0, 1)]
    places = [*villages, glen]
    write_layer("places", {"name": [*names, GLEN_NAME]}, [Point(*xy(*place)) for place in places])


def highest_near(elevation: np.ndarray, row: int, col: int, reach: int = 14) -> tuple[int, int]:
    """Return the highest cell within reach cells of a place."""
    top, left = max(row - reach, 0), max(col - reach, 0)
    window = elevation[top : row + reach, left : col + reach]
    r, c = np.unravel_index(int(window.argmax()), window.shape)
    return top + int(r), left + int(c)


# mast, where to look for a hilltop (row, col), reach, height of the structure
MASTS = {
    "High Corrin": (175, 215, 40, 120.0),
    "Long Rigg": (262, 232, 14, 90.0),
    "Vane Point": (215, 318, 10, 60.0),
    "Merrow Hill": (225, 95, 12, 75.0),
    "Tarn Relay": (150, 150, 8, 25.0),
    "Sull Translator": (278, 160, 2, 12.0),
}
# station_id, service, mast, displayed, rf, erp_kw, m below the top, polarization, azimuth, elevation, use
STATIONS = [
    ("SK1", "Skerra One", "High Corrin", "5.1", 21, 40.0, 4, "H", "corrin", "main", "wanted"),
    ("SK2", "Skerra Two", "High Corrin", "8.1", 29, 40.0, 4, "H", "corrin", "main", "wanted"),
    ("CTV", "Coast TV", "High Corrin", "11.1", 10, 6.0, 18, "H", "corrin", "", "wanted"),
    ("LIFE", "Island Life", "High Corrin", "14.1", 33, 25.0, 4, "H", "corrin", "main", "wanted"),
    ("NEWS", "North News", "Long Rigg", "17.1", 16, 15.0, 2, "H", "rigg", "", "wanted"),
    ("RPUB", "Rigg Public", "Long Rigg", "20.1", 24, 15.0, 2, "H", "rigg", "", "wanted"),
    ("SEAS", "Seven Seas", "Long Rigg", "7.1", 8, 4.0, 14, "H", "rigg", "", "wanted"),
    ("VLOC", "Vane Local", "Vane Point", "30.1", 35, 3.0, 2, "H", "vane", "", "wanted"),
    ("VSHOP", "Vane Market", "Vane Point", "31.1", 19, 3.0, 2, "H", "vane", "", "wanted"),
    ("MTV", "Merrow TV", "Merrow Hill", "25.1", 14, 8.0, 2, "H", "", "", "wanted"),
    ("MFAIR", "Merrow Fair", "Merrow Hill", "26.1", 29, 0.8, 2, "H", "west", "", "wanted"),
    ("MLRN", "Merrow Learning", "Merrow Hill", "27.1", 12, 1.0, 8, "H", "", "", "wanted"),
    ("SK1R", "Skerra One", "Tarn Relay", "5.1", 36, 0.05, 1, "V", "tarn", "", "wanted"),
    ("SK2R", "Skerra Two", "Tarn Relay", "8.1", 31, 0.05, 1, "V", "tarn", "", "wanted"),
    ("CTVR", "Coast TV", "Tarn Relay", "11.1", 18, 0.05, 1, "V", "tarn", "", "wanted"),
    # a village's translator of another island's programmes, on channels that were thought not to reach it
    ("OUT1", "Out Isle One", "Sull Translator", "51.1", 21, 0.015, 1, "H", "sull", "", "interferer"),
    ("OUT2", "Out Isle Two", "Sull Translator", "52.1", 29, 0.015, 1, "H", "sull", "", "interferer"),
    ("OUT3", "Out Isle News", "Sull Translator", "53.1", 10, 0.015, 1, "H", "sull", "", "interferer"),
    ("OUT4", "Out Isle Film", "Sull Translator", "54.1", 16, 0.015, 1, "H", "sull", "", "interferer"),
    ("OUT5", "Out Isle Sport", "Sull Translator", "55.1", 24, 0.015, 1, "H", "sull", "", "interferer"),
]
OFF_AIR = [
    ("OLD1", "Skerra Text", "Long Rigg", "40.1", 34, 2.0, 2, "H", "", "", "wanted"),
    ("OLD2", "Merrow Radio Vision", "Merrow Hill", "41.1", 22, 1.0, 2, "H", "", "", "wanted"),
]


def write_transmitters(elevation: np.ndarray) -> None:
    """Write transmitters.csv with positions on the hilltops of this island."""
    to_wgs84 = gpd.GeoSeries(
        [Point(*xy(*highest_near(elevation, *where[:3]))) for where in MASTS.values()], crs=CRS
    ).to_crs("EPSG:4326")
    position = dict(zip(MASTS, to_wgs84, strict=True))
    ground = {mast: int(elevation[highest_near(elevation, *where[:3])]) for mast, where in MASTS.items()}
    header = [
        "station_id", "service", "mast", "displayed_channel", "status", "latitude_deg", "longitude_deg",
        "rf_channel", "erp_kw", "antenna_height_m", "ground_m", "polarization", "azimuth_pattern",
        "elevation_pattern", "electrical_tilt_deg", "system", "use", "as_of",
    ]  # fmt: skip
    with open(FOLDER / "transmitters.csv", "w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(header)
        for status, rows in (("on_air", STATIONS), ("off_air", OFF_AIR)):
            for station_id, service, mast, shown, rf, erp, below, polarization, azimuth, elev, use in rows:
                point = position[mast]
                writer.writerow(
                    [
                        station_id,
                        service,
                        mast,
                        shown,
                        status,
                        f"{point.y:.6f}",
                        f"{point.x:.6f}",
                        rf,
                        erp,
                        MASTS[mast][3] - below,
                        ground[mast],
                        polarization,
                        azimuth,
                        elev,
                        0.5 if elev else "",
                        "atsc1_8vsb",
                        use,
                        "2026-09-01",
                    ]
                )


def shadowed(azimuth_deg: float, towards_deg: float) -> float:
    """Return the relative field of an antenna on the side of its tower, which shadows one narrow way."""
    return 1.0 - 0.975 * math.exp(-(((azimuth_deg - towards_deg) / 4.8) ** 4))


def write_patterns() -> None:
    """Write patterns.csv: six directional azimuth patterns and one elevation pattern, all invented."""
    with open(FOLDER / "patterns.csv", "w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(["pattern", "plane", "angle_deg", "relative_field"])
        for name, towards, power, least in (
            ("vane", 285.0, 1.2, 0.1),
            ("west", 250.0, 1.2, 0.1),
            ("sull", 340.0, 2.0, 0.05),
            ("tarn", 12.0, 1.0, 0.05),  # the relay serves the north alone
        ):
            for angle in range(0, 360, 10):
                off = math.radians(angle - towards)
                writer.writerow(
                    [name, "azimuth", angle, f"{max(least, ((1 + math.cos(off)) / 2) ** power):.3f}"]
                )
        for name, shadow in (("corrin", 237), ("rigg", 269)):
            for angle in sorted({*range(0, 360, 10), *range(shadow - 8, shadow + 9)}):
                writer.writerow([name, "azimuth", angle, f"{shadowed(angle, shadow):.3f}"])
        for step in range(-40, 41):
            angle = step / 4.0
            lobe = abs(np.sinc(angle / 4.2))
            writer.writerow(["main", "elevation", angle, f"{max(0.12, lobe):.3f}"])


PRICES = (
    ("antenna_tier_1", 15, 0),
    ("antenna_tier_2", 25, 0),
    ("antenna_tier_3", 60, 1.5),
    ("antenna_tier_4", 80, 2),
    ("antenna_tier_5", 110, 2.5),
    ("antenna_tier_6", 130, 2.5),
    ("antenna_tier_7", 260, 5),
    ("amplifier", 55, 0.5),
    ("mast", 340, 4),
    ("high_vhf_antenna", 45, 0),
    ("second_antenna", 95, 1),
)


def write_prices() -> None:
    """Write prices.csv: an invented price list."""
    rows = ["item,price_each,hours_each", *(f"{item},{price},{hours}" for item, price, hours in PRICES)]
    (FOLDER / "prices.csv").write_text("\n".join(rows) + "\n", "utf-8")


def main() -> None:
    """Make every file of the demo except scenario.toml, which is written by hand."""
    rng = np.random.default_rng(SEED)
    elevation = cut_glen(make_elevation(rng))
    villages = lay_out_villages(rng, elevation)
    homes = make_homes(rng, elevation, villages)
    add_glen_homes(homes)
    names = make_names(rng, len(villages))
    write_raster("elevation.tif", elevation, -32768, "m")
    write_raster("land_cover.tif", make_land_cover(rng, elevation, homes), 255)
    write_area(elevation)
    write_homes(homes)
    write_neighbourhoods(elevation, villages, names)
    write_places(villages, names)
    write_transmitters(elevation)
    write_patterns()
    write_prices()


if __name__ == "__main__":
    main()
