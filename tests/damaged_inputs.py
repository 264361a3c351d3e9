"""Damages the files of a small scenario in ways that files are damaged; hypothesis chooses which."""

import numpy as np
import shapely
from affine import Affine
from hypothesis import strategies as st
from small_inputs import CELL_M, CELLS, CRS, NORTH, WEST, bow_tie, square, write_layer, write_raster

TEXTS = ("scenario.toml", "transmitters.csv", "prices.csv", "homes.csv", "patterns.csv", "tiers.csv",
         "prediction_spread.csv", "land_cover.csv", "calibration.toml")  # fmt: skip
BINARY = (
    "elevation.tif",
    "land_cover.tif",
    "clutter_height.tif",
    "bare_earth.tif",
    "homes.gpkg",
    "wards.gpkg",
    "places.gpkg",
    "area.gpkg",
    "sea.gpkg",
)
LAYERS = ("homes.gpkg", "wards.gpkg", "places.gpkg", "area.gpkg", "sea.gpkg")
RASTERS = ("elevation.tif", "land_cover.tif", "clutter_height.tif", "bare_earth.tif")

CELL = st.sampled_from(
    ["", " ", "-", "0", "-1", "1e999", "-1e308", "nan", "inf", "true", "[]", "{}", '"', "'", "5.1", "1,5",
     "1.234,5", "x" * 300, "\0", "a\nb", "\r", "\u202e", "\ufeff", "٣", "²", "=cmd()", "../../x", "/dev/null",
     "/", "~", "#", "9" * 20, "44 60 0", "RF 21", "EPSG:0", "EPSG:4326", "\\", "%s", "{0}", "<b>", "null"]
)  # fmt: skip
COORDINATE = st.one_of(
    st.sampled_from([0.0, np.nan, np.inf, -np.inf, 1e300, -1e30, 5e-324, WEST, NORTH, 180.0, 90.0]),
    st.floats(-1e7, 1e7),
)
CODES = tuple(f"EPSG:{code}" for code in (32625, 4326, 3857, 3413, 4979, 27700, 2263, 5703, 4978))
# a place in something whose length hypothesis need not know, so that the same draws come again
PLACE = st.floats(0.0, 1.0, exclude_max=True).map(lambda share: lambda size: int(share * size))
VALUE = st.one_of(
    st.none(), st.booleans(), st.integers(-(2**62), 2**62), st.floats(), st.text(max_size=8), CELL
)


KINDS = ("square", "bow tie", "none", "empty", "line", "point", "many", "mixed", "far")


@st.composite
def shapes(draw):
    """Draw a geometry: usable, missing, empty, broken, of the wrong kind, or nowhere."""
    kind = draw(
        st.sampled_from(["square", "bow tie", "none", "empty", "line", "point", "many", "mixed", "far"])
    )
    x, y = draw(COORDINATE), draw(COORDINATE)
    if kind == "square":
        return square(
            draw(st.integers(-5, CELLS + 5)), draw(st.integers(-5, CELLS + 5)), draw(st.floats(0, 30))
        )
    made = {
        "bow tie": bow_tie(),
        "none": None,
        "empty": shapely.Polygon(),
        "line": shapely.LineString([(WEST, NORTH), (x, y)]),
        "point": shapely.Point(x, y),
        "many": shapely.MultiPolygon([square(1, 1), square(1, 1, 2)]),
        "mixed": shapely.GeometryCollection([square(2, 2), shapely.Point(x, y)]),
        "far": shapely.Polygon([(WEST, NORTH), (x, y), (y, x)]),
    }
    return made[kind]


@st.composite
def damaged_text(draw, content):
    """Draw what becomes of a text file."""
    kind = draw(st.sampled_from(["cell", "cell", "cell", "line", "cut", "encoding", "delimiter", "noise"]))
    lines = content.split("\n")
    row = draw(PLACE)(len(lines))
    if kind == "cell":
        mark = "=" if "=" in lines[row] else ","
        cells = lines[row].split(mark)
        cells[draw(PLACE)(len(cells))] = draw(st.one_of(CELL, st.text(max_size=12)))
        lines[row] = mark.join(cells)
    elif kind == "line":
        lines[row : row + draw(st.integers(0, 2))] = [lines[draw(PLACE)(len(lines))]]
    elif kind == "delimiter":
        lines = [line.replace(",", draw(st.sampled_from(";\t|"))) for line in lines]
    text = "\n".join(lines)
    if kind == "noise":
        place = draw(PLACE)(len(text) + 1)
        text = text[:place] + draw(st.text(min_size=1, max_size=30)) + text[place:]
    encoding = (
        draw(st.sampled_from(["utf-16", "utf-16-le", "cp1252", "utf-8-sig"]))
        if kind == "encoding"
        else "utf-8"
    )
    raw = text.encode(encoding, errors="replace")
    return raw[: draw(PLACE)(len(raw) + 1)] if kind == "cut" else raw


@st.composite
def damaged_bytes(draw, raw):
    """Draw what becomes of a binary file: cut off, some bytes changed, a stretch of zeros."""
    kind = draw(st.sampled_from(["cut", "bytes", "zeros"]))
    if kind == "cut":
        return raw[: draw(PLACE)(len(raw) + 1)]
    changed = bytearray(raw)
    for _ in range(draw(st.integers(1, 20)) if kind == "bytes" else 1):
        place = draw(PLACE)(len(raw))
        size = 1 if kind == "bytes" else draw(st.integers(1, 3000))
        part = draw(st.binary(min_size=1, max_size=1)) if kind == "bytes" else b"\0" * size
        changed[place : place + size] = part[: len(changed) - place]
    return bytes(changed)


@st.composite
def another_layer(draw, path):
    """Write another layer under a name."""
    count = draw(st.integers(0, 4))
    columns = {}
    for name in draw(st.lists(st.sampled_from(["homes", "code", "name", "fid2", "Label"]), unique=True)):
        columns[name] = [draw(VALUE) for _ in range(count)]
        if len({type(value) for value in columns[name]} - {type(None)}) > 1:
            columns[name] = [None if value is None else str(value) for value in columns[name]]
    crs = draw(st.sampled_from([None, CRS, CRS, CRS, *CODES]))
    drawn = [draw(shapes()) for _ in range(count)]
    return lambda: write_layer(path, drawn, crs=crs, **columns)


@st.composite
def another_raster(draw, path):
    """Write another raster under a name."""
    kind = draw(st.sampled_from(["uint8", "int16", "uint16", "int32", "float32", "float64"]))
    rows, cols = draw(st.integers(1, CELLS)), draw(st.integers(1, CELLS))
    fill = draw(st.one_of(st.sampled_from([0, 1, 2, 20, 255]), st.integers(-40_000, 70_000)))
    with np.errstate(over="ignore"):
        values = np.full((rows, cols), fill).astype(kind)
    if kind.startswith("float"):
        for _ in range(draw(st.integers(0, 4))):
            place = draw(st.integers(0, rows - 1)), draw(st.integers(0, cols - 1))
            with np.errstate(over="ignore"):
                values[place] = draw(st.sampled_from([np.nan, np.inf, -np.inf, 1e300, -3.4e38, -9999.0, 9e3]))
    size = draw(st.sampled_from([CELL_M, CELL_M, 10.0, 1e-9, 1e9, 0.001, -CELL_M]))
    west = draw(st.sampled_from([WEST, WEST, 0.0, -36.1, 1e9]))
    transform = Affine(size, draw(st.sampled_from([0.0, 0.0, 0.0, 1.0])), west, 0.0, -size, NORTH)
    crs = draw(st.sampled_from([None, CRS, CRS, CRS, *CODES]))
    nodata = draw(st.sampled_from([None, 0, 1, 255]))
    return lambda: write_raster(path, values, crs=crs, transform=transform, nodata=nodata)


@st.composite
def damages(draw, folder):
    """Damage one or two files of a scenario; return their names with what was done."""
    done = []
    for _ in range(draw(st.sampled_from([1, 1, 1, 2]))):
        kind = draw(st.sampled_from(["text", "text", "bytes", "layer", "layer", "raster"]))
        if kind == "text":
            name = draw(st.sampled_from([name for name in TEXTS if (folder / name).exists()]))
            content = (folder / name).read_bytes().decode("utf-8", errors="replace")
            (folder / name).write_bytes(draw(damaged_text(content)))
        elif kind == "bytes":
            name = draw(st.sampled_from(BINARY))
            raw = (folder / name).read_bytes()
            (folder / name).write_bytes(draw(damaged_bytes(raw)))
        else:
            name = draw(st.sampled_from(LAYERS if kind == "layer" else RASTERS))
            write = draw((another_layer if kind == "layer" else another_raster)(folder / name))
            try:
                write()
            except Exception as refused:  # what no library writes no user has
                (folder / name).write_bytes(repr(refused).encode())
        done.append((name, kind))
    return done
