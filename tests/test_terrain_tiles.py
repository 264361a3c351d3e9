"""Fetching terrain: from a server on this machine that serves small tiles under the published names."""

import http.server
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from click.testing import CliRunner

import covermap
from covermap.cli.main import main
from covermap.scenario.toml_edit import with_keys
from covermap.terrain_tiles import fetch as fetching
from covermap.terrain_tiles.sources import find_source, read_sources, tiles_of

CELLS = 60
COLUMNS = "name,layer,kind,address,tile_deg,corner,missing_tile,unit,land_cover_table,licence,credit,source"


def write_tile(path, west, south, side, value, dtype="float32"):
    path.parent.mkdir(parents=True, exist_ok=True)
    step = side / CELLS
    with rasterio.open(
        path, "w", driver="GTiff", width=CELLS, height=CELLS, count=1, dtype=dtype, crs="EPSG:4326",
        transform=Affine(step, 0.0, west, 0.0, -step, south + side),
    ) as dataset:  # fmt: skip
        cells = np.full((CELLS, CELLS), value, dtype=dtype)
        if dtype == "float32":
            cells[::7, ::7] += 20.0  # a tree
        dataset.write(cells, 1)


class Server(http.server.ThreadingHTTPServer):
    """Serves a folder; breaks the first transfers, or lies about sizes, where it is told to."""

    def __init__(self, folder):
        self.folder, self.break_first, self.lie, self.status = folder, 0, 0, 0
        self.ranges = []
        super().__init__(("127.0.0.1", 0), Handler)


class Handler(http.server.BaseHTTPRequestHandler):
    def do_HEAD(self):
        self._answer(head=True)

    def do_GET(self):
        self._answer(head=False)

    def _answer(self, head):
        if self.server.status:
            self.send_error(self.server.status)
            return
        path = self.server.folder / self.path.lstrip("/")
        if not path.is_file():
            self.send_error(404)
            return
        data = path.read_bytes()
        start = 0
        asked = self.headers.get("Range")
        if asked:
            first, last = asked.removeprefix("bytes=").split("-")  # RFC 9110, section 14.1.2
            whole, start = len(data), int(first)
            data = data[: int(last) + 1] if last else data
            self.server.ranges.append(start)
        self.send_response(206 if asked else 200)
        if asked:
            self.send_header("Content-Range", f"bytes {start}-{len(data) - 1}/{whole}")
        self.send_header("Content-Length", str(len(data) - start + (self.server.lie if head else 0)))
        self.end_headers()
        if head:
            return
        if self.server.break_first:
            self.server.break_first -= 1
            self.wfile.write(data[start : start + 500])
            self.wfile.flush()
            self.connection.close()
            return
        self.wfile.write(data[start:])

    def log_message(self, *_):
        pass


@pytest.fixture
def server(tmp_path, monkeypatch):
    monkeypatch.setattr(fetching, "PAUSE_S", 0.01)
    served = Server(tmp_path / "served")
    thread = threading.Thread(target=served.serve_forever, daemon=True)
    thread.start()
    yield served
    served.shutdown()
    served.server_close()


def own_sources(folder, server):
    """Write the shipped rows with this machine in place of the publishers' hosts."""
    rows = [COLUMNS]
    for source in read_sources().values():
        address = f"http://127.0.0.1:{server.server_port}/{source.address.split('/', 3)[3]}"
        missing = "sea" if source.missing_is_sea else "unknown"
        rows.append(
            f'{source.name},{source.layer},{source.kind},"{address}",{source.tile_deg},{source.corner},{missing},m,'
            f'{source.land_cover_table},free,"{source.credit}",a test'
        )
    path = folder / "sources.csv"
    path.write_text("\n".join(rows) + "\n", "utf-8")
    return path


def write_scenario(folder):
    folder.mkdir()
    (folder / "transmitters.csv").write_text(
        "station_id,service,latitude_deg,longitude_deg,rf_channel,erp_kw,antenna_height_m,polarization\n"
        "A,First TV,44.6,-36.4,21,40,120,H\nB,Far TV,52.0,-36.4,22,40,120,H\n"
    )
    path = folder / "scenario.toml"
    path.write_text(
        "# mine\n[grid]\ncell_m = 2000\nwest = -36.2\nsouth = 43.8\neast = -35.9\nnorth = 44.1\n\n[terrain]\n"
        "elevation = []           # to be fetched\n\n[transmitters]\n"
        'file = "transmitters.csv"\nchannel_plan = "us_6mhz"\n\n[wanted.main]\nservices = ["First TV"]\n'
    )
    return path


def serve_copernicus(server, *corners):
    for south, west in corners:
        name = f"Copernicus_DSM_COG_10_N{south:02d}_00_W{-west:03d}_00_DEM"
        write_tile(server.folder / name / f"{name}.tif", west, south, 1, 100.0)


def serve_worldcover(server):
    # multiples of 3 degrees by the south-west corner: 44 N 36 W lies in N42W036, 36.4 W in N42W039
    for west in (-39, -36):
        name = f"v200/2021/map/ESA_WorldCover_10m_2021_v200_N42W{-west:03d}_Map.tif"
        write_tile(server.folder / name, west, 42, 3, 10 if west == -39 else 80, "uint8")


def run(*words):
    return CliRunner().invoke(main, ["terrain", *map(str, words), "--progress", "none"])


@pytest.mark.parametrize(
    ("name", "latitude", "longitude", "tile"),
    [
        # names as the publishers write them, in terrain_sources.csv
        ("copernicus_30", 44.5, -35.5, "Copernicus_DSM_COG_10_N44_00_W036_00_DEM.tif"),
        ("copernicus_90", -0.5, 9.5, "Copernicus_DSM_COG_30_S01_00_E009_00_DEM.tif"),
        ("usgs_1_arcsecond", 40.5, -75.5, "USGS_1_n41w076.tif"),
        ("worldcover_2021", 48.5, 4.5, "ESA_WorldCover_10m_2021_v200_N48E003_Map.tif"),
    ],
)
def test_tiles_bear_the_published_names(name, latitude, longitude, tile):
    import shapely

    (found,) = tiles_of(read_sources()[name], shapely.Point(longitude, latitude).buffer(0.01))
    assert found.address.endswith(f"/{tile}")


def test_fetched_terrain_makes_a_scenario_that_check_passes(tmp_path, server):
    scenario = write_scenario(tmp_path / "valley")
    serve_copernicus(server, (43, -37), (44, -37), (43, -36))  # N44W036 is sea: it is not there
    serve_worldcover(server)
    result = run(scenario, "--sources", own_sources(tmp_path, server), "--land-cover", "worldcover_2021")
    assert result.exit_code == 0, result.output
    assert "copernicus_30: 4 tiles, 1 not there" in result.output
    text = scenario.read_text("utf-8")
    assert text.startswith("# mine\n")
    read = covermap.read_scenario(scenario)
    assert read.settings.terrain.kind == "with_canopy"
    report = covermap.check(read)
    assert "no gaps" in report.in_words()
    from covermap.inputs.prepare import prepare
    from covermap.result.run_json import scenario_cautions

    terrain = prepare(read).terrain
    assert float(terrain.elevation_m(-35.95, 44.05)) == 0.0  # a tile that is not there is sea
    assert float(terrain.ground_m(-36.5, 43.5)) == 100.0  # the ends stand on the lowest cell around
    assert bool(terrain.water(-35.95, 43.9))
    said = " ".join(scenario_cautions(read))
    assert "Copernicus" in said
    assert "lowest of the cells within 90 m" in said
    assert "ESA WorldCover" in said


def test_tiles_that_no_path_needs_are_no_gaps(tmp_path, server):
    """A mast to the north-west of its area: of the four tiles around, one is not fetched."""
    scenario = write_scenario(tmp_path / "valley")
    text = scenario.read_text("utf-8")
    for old, new in (
        ("west = -36.2", "west = -35.8"), ("east = -35.9", "east = -35.7"),
        ("south = 43.8", "south = 43.7"), ("north = 44.1", "north = 43.75"),
    ):  # fmt: skip
        text = text.replace(old, new)
    scenario.write_text(text, "utf-8")
    stations = scenario.parent / "transmitters.csv"
    stations.write_text(stations.read_text("utf-8").replace("44.6,-36.4", "44.5,-36.05"), "utf-8")
    serve_copernicus(server, (44, -37), (44, -36), (43, -36))
    result = run(scenario, "--sources", own_sources(tmp_path, server))
    assert result.exit_code == 0, result.output
    read = covermap.read_scenario(scenario)
    from covermap.inputs.prepare import prepare

    assert "% gaps" in prepare(read).terrain.summary()  # of the rectangle around the tiles
    assert "no gaps" in covermap.check(read).in_words()


def test_size_is_told_before_and_nothing_fetched(tmp_path, server):
    scenario = write_scenario(tmp_path / "valley")
    before = scenario.read_text("utf-8")
    serve_copernicus(server, (43, -37), (44, -37))
    result = run(scenario, "--sources", own_sources(tmp_path, server), "--size")
    assert "MB still to fetch" in result.output
    assert not (scenario.parent / "terrain").exists()
    assert scenario.read_text("utf-8") == before


def test_a_broken_transfer_goes_on_where_it_stopped(tmp_path, server):
    scenario = write_scenario(tmp_path / "valley")
    serve_copernicus(server, (43, -37), (44, -37), (43, -36), (44, -36))
    server.break_first = 2
    result = run(scenario, "--sources", own_sources(tmp_path, server))
    assert result.exit_code == 0, result.output
    assert server.ranges[:2] == [500, 1000]
    folder = scenario.parent / "terrain" / "copernicus_30"
    served = sorted(path.stat().st_size for path in server.folder.rglob("*.tif"))
    assert sorted(path.stat().st_size for path in folder.glob("*.tif")) == served


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ({"break_first": 99}, "Run the same command again"),
        ({"lie": 7}, "bytes arrived"),  # announces more than it sends
    ],
    ids=["stays broken", "a wrong size"],
)
def test_a_transfer_that_fails_is_told_and_the_scenario_is_left(tmp_path, server, fault, words):
    scenario = write_scenario(tmp_path / "valley")
    before = scenario.read_text("utf-8")
    serve_copernicus(server, (43, -37), (44, -37), (43, -36), (44, -36))
    vars(server).update(fault)
    result = run(scenario, "--sources", own_sources(tmp_path, server))
    assert result.exit_code == 1
    assert words in result.output
    assert scenario.read_text("utf-8") == before


def test_a_tile_that_is_no_raster_or_lies_elsewhere_is_refused(tmp_path, server):
    scenario = write_scenario(tmp_path / "valley")
    serve_copernicus(server, (43, -37), (44, -37), (43, -36), (44, -36))
    one = next(server.folder.rglob("*N44_00_W037*.tif"))
    one.write_bytes(b"<html>moved</html>")
    assert "is no whole raster" in run(scenario, "--sources", own_sources(tmp_path, server)).output
    write_tile(one, 10, 10, 1, 5.0)
    assert "not around" in run(scenario, "--sources", own_sources(tmp_path, server)).output


def test_no_tile_at_all_is_an_error(tmp_path, server):
    scenario = write_scenario(tmp_path / "valley")
    result = run(scenario, "--sources", own_sources(tmp_path, server))
    assert result.exit_code == 1
    assert "none of its 4 tiles is there" in result.output


def test_the_address_of_a_tile_is_the_one_that_gdal_reads_in_place(tmp_path, server):
    """A plain transfer and GDAL's own reader of web addresses give the same cells."""
    serve_copernicus(server, (44, -37))
    source = read_sources(own_sources(tmp_path, server))["copernicus_30"]
    (tile,) = tiles_of(source, shapely.Point(-36.5, 44.5))
    fetched = tmp_path / tile.file_name
    fetching.fetch(tile.address, fetching.size_of(tile.address), fetched)
    script = "import rasterio, sys; one = rasterio.open(sys.argv[1]); print(one.bounds, one.read(1).sum())"
    asked = (str(fetched), f"/vsicurl/{tile.address}")  # in processes of their own: the server is in this one
    plain, in_place = (
        subprocess.run(
            [sys.executable, "-c", script, path], capture_output=True, text=True, timeout=120, check=True
        ).stdout
        for path in asked
    )
    assert in_place == plain != ""


@pytest.mark.parametrize(
    ("status", "said"), [(503, "the server answers 503"), (0, "cannot be reached: ")], ids=["busy", "gone"]
)
def test_a_server_that_does_not_serve_is_told_with_what_next(tmp_path, server, status, said):
    scenario = write_scenario(tmp_path / "valley")
    before = scenario.read_text("utf-8")
    server.status = status
    sources = own_sources(tmp_path, server)
    if not status:
        server.server_close()
    result = run(scenario, "--sources", sources)
    assert result.exit_code == 1
    assert said in result.output
    assert "run the same command again" in result.output
    assert "--sources TABLE" in result.output
    assert scenario.read_text("utf-8") == before


def test_an_unknown_source_names_those_there_are():
    with pytest.raises(covermap.InputError, match=r'--elevation: found "copernikus_30".*copernicus_30'):
        find_source(read_sources(), "copernikus_30", "elevation")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[terrain]\nelevation = []  # x\n", '[terrain]\nelevation = ["a"]\n'),
        ("[terrain]\n# elevation = []\nsea = 1\n", '[terrain]\nelevation = ["a"]\nsea = 1\n'),
        ('[terrain]\nelevation = [\n  "x",\n  "y",\n]\nk = 1', '[terrain]\nelevation = ["a"]\nk = 1'),
        ("[grid]\ncell_m = 1", '[grid]\ncell_m = 1\n\n[terrain]\nelevation = ["a"]'),
        ("[grid]\nelevation = 1\n[terrain]\n", '[grid]\nelevation = 1\n[terrain]\nelevation = ["a"]\n'),
    ],
)
def test_keys_are_set_and_all_else_stays(text, expected):
    assert with_keys(text, "terrain", {"elevation": ["a"]}) == expected


def test_shipped_sources_are_whole():
    for source in read_sources().values():
        assert source.credit
        assert Path(source.address).suffix == ".tif"
