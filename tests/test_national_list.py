"""A list and the elevation of a whole country: what cannot matter is left out, the rest read where needed."""

import math

import numpy as np
import pytest
import rasterio
from affine import Affine

import covermap
from covermap.errors import InputError
from covermap.inputs.prepare import prepare, prepare_places
from covermap.inputs.stations_that_count import BEYOND_REACH, TOO_WEAK
from covermap.scenario.wanted import MOST_SERVICES
from covermap.terrain import look_at_terrain, read_terrain

HEADER = (
    "station_id,service,mast,latitude_deg,longitude_deg,rf_channel,erp_kw,antenna_height_m,polarization\n"
)
TILE_CELLS = 120
WEST, SOUTH, TILES = -92, 42, 4  # degrees, and tiles of one degree on a side


def station(name, latitude, longitude, erp_kw=100.0, channel=30):
    return f"{name},{name},mast {name},{latitude},{longitude},{channel},{erp_kw},100,H\n"


def write_country(folder, rows, wanted="at_least = 1", reach_km=150, elevation='"tiles"'):
    """Write a scenario of half a degree in the middle of TILES x TILES tiles of rolling ground."""
    (folder / "tiles").mkdir(parents=True)
    step = 1.0 / TILE_CELLS
    for row in range(TILES):
        for col in range(TILES):
            north, west = SOUTH + TILES - row, WEST + col
            y, x = np.mgrid[0:TILE_CELLS, 0:TILE_CELLS] * step
            heights_m = 200.0 + 50.0 * np.sin(7.0 * (north - y)) * np.cos(5.0 * (west + x))
            with rasterio.open(
                folder / "tiles" / f"n{north}_{-west}.tif", "w", driver="GTiff", count=1, dtype="float32",
                height=TILE_CELLS, width=TILE_CELLS, crs="EPSG:4326",
                transform=Affine(step, 0.0, west, 0.0, -step, north),
            ) as dataset:  # fmt: skip
                dataset.write(heights_m.astype("float32"), 1)
    (folder / "transmitters.csv").write_text(HEADER + "".join(rows))
    path = folder / "scenario.toml"
    path.write_text(
        "[grid]\ncell_m = 2000\nwest = -90.2\nsouth = 43.9\neast = -89.9\nnorth = 44.1\n"
        f"[terrain]\nelevation = {elevation}\n"
        '[transmitters]\nfile = "transmitters.csv"\nchannel_plan = "us_6mhz"\n'
        f"[wanted.main]\n{wanted}\n[prediction]\nreach_km = {reach_km}\n"
    )
    return path


NEAR = station("near", 44.3, -90.0)


@pytest.mark.parametrize(
    ("erp_kw", "latitude", "reason"),
    [
        (100.0, 47.0, BEYOND_REACH),  # 320 km north of the grid, reach 150 km
        (100.0, 44.5, None),
        # Free space at 44 km is 106.9 + 10 log10(ERP in kW) - 20 log10(44) dB(uV/m) (ITU-R P.525): 1 uW gives
        # -16. The most sensitive tier has 12 dBd and noise of 6 MHz at 569 MHz, kT0B = -106.2 dBm, so that
        # nothing under -106.2 - 16.3 - 12 + 131.6 = about -3 dB(uV/m) lifts it by 0.1 dB.
        (1e-9 * 1.1, 44.5, TOO_WEAK),
        (1e-3, 44.5, None),  # 1 W: 44 dB(uV/m) at 44 km
    ],
)
def test_a_station_that_cannot_matter_is_left_out_and_counted(tmp_path, erp_kw, latitude, reason):
    rows = [NEAR, station("other", latitude, -90.0, erp_kw, 31)]
    prepared = prepare(covermap.read_scenario(write_country(tmp_path, rows)))
    names = [s.station_id for s in prepared.scenario.stations]
    assert names == (["near", "other"] if reason is None else ["near"])
    assert prepared.scenario.left_out == ({} if reason is None else {reason: 1})


def test_a_named_service_stays_with_one_station_however_far(tmp_path):
    rows = [
        NEAR,
        station("far", 45.9, -89.0, 1.0),
        station("far2", 45.9, -89.0, 50.0, 31).replace(",far2", ",far"),
    ]
    path = write_country(tmp_path, rows, 'services = ["near", "far"]', reach_km=100)
    prepared = prepare(covermap.read_scenario(path))
    assert [s.station_id for s in prepared.scenario.stations] == ["near", "far2"]
    assert prepared.scenario.wanted[0].transmitters == ((0,), (1,))


def test_everything_means_everything_in_reach(tmp_path):
    many = [station(f"s{n}", 44.2 + n % 7 / 100, -90 - n % 5 / 100, channel=14 + n % 20) for n in range(300)]
    far = [station(f"f{n}", 47.5, -90.0) for n in range(200)]
    scenario = covermap.read_scenario(write_country(tmp_path, many + far, "at_least = 3"))
    assert len(scenario.wanted[0].services) == 500
    prepared = prepare(scenario)
    assert len(prepared.scenario.stations) == 300
    assert len(prepared.scenario.wanted[0].services) == MOST_SERVICES
    assert any("300 services are in reach" in sentence for sentence in prepared.warnings)
    assert prepared.scenario.left_out == {BEYOND_REACH: 200}


def test_a_list_of_everything_keeps_its_number_where_fewer_are_in_reach(tmp_path):
    rows = [NEAR, station("a", 47.5, -90.0), station("b", 47.6, -90.0)]
    prepared = prepare(covermap.read_scenario(write_country(tmp_path, rows, "at_least = 2")))
    wanted = prepared.scenario.wanted[0]
    assert (wanted.needed, wanted.services) == (2, ("near", "a"))  # of those out of reach the strongest
    assert prepared.silent_beyond_reach.all()


def test_masts_beyond_the_elevation_are_told_in_a_few_lines(tmp_path):
    rows = [NEAR] + [
        station(f"o{n}", 46.2 + n / 1000, -90.0, channel=20).replace(",H", ",H") for n in range(40)
    ]
    path = write_country(tmp_path, rows, 'services = ["near"]', reach_km=300)
    report = covermap.check(covermap.read_scenario(path))
    assert report.in_words().count("\n") < 20
    assert any("35 more masts without a wanted service" in sentence for sentence in report.warnings)


@pytest.mark.parametrize("elevation", ['"tiles"', '["tiles/n4*.tif"]', '"country.vrt"'])
def test_elevation_may_be_a_folder_a_pattern_or_a_mosaic(tmp_path, elevation):
    path = write_country(tmp_path, [NEAR], elevation='"tiles"')
    if "vrt" in elevation:
        _write_vrt(tmp_path)
    path.write_text(path.read_text().replace('"tiles"', elevation))
    prepared = prepare(covermap.read_scenario(path))
    # 200 + 50 sin(7 lat) cos(5 lon), the formula the tiles are written from; cells of 0.9 km in a slope
    # of at most 350 m a degree: within 3 m
    expected_m = 200.0 + 50.0 * math.sin(7.0 * 44.0) * math.cos(5.0 * -90.0)
    assert float(prepared.terrain.elevation_m(-90.0, 44.0)) == pytest.approx(expected_m, abs=3.0)


@pytest.mark.parametrize(("elevation", "words"), [('"tiles/x*.tif"', "a pattern"), ('"empty"', "a folder")])
def test_no_raster_is_one_clear_error(tmp_path, elevation, words):
    path = write_country(tmp_path, [NEAR], elevation=elevation)
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match=words):
        covermap.read_scenario(path)


def test_heights_read_on_demand_are_those_read_at_once_and_no_more(tmp_path):
    settings = covermap.read_scenario(write_country(tmp_path, [NEAR])).settings
    whole = read_terrain(settings)
    some = read_terrain(settings, on_demand=True)
    longitude, latitude = np.linspace(-91.9, -91.1, 50), np.linspace(45.8, 44.1, 50)
    assert np.array_equal(some.elevation_m(longitude, latitude), whole.elevation_m(longitude, latitude))
    assert 0 < some.elevation[0].blocks.blocks_read <= 2  # blocks of 256 cells, in 480 x 480


def test_a_part_of_the_elevation_has_the_same_heights(tmp_path):
    settings = covermap.read_scenario(write_country(tmp_path, [NEAR])).settings
    outline = look_at_terrain(settings)
    part = read_terrain(settings, outline=outline.around(np.array([-90.5, -89.5]), np.array([43.5, 44.5])))
    longitude, latitude = np.linspace(-90.9, -89.1, 31), np.linspace(43.1, 44.9, 31)
    whole = read_terrain(settings, outline=outline)
    # the part's corner is rounded once more: 1e-13 of a degree
    assert np.allclose(
        part.elevation_m(longitude, latitude), whole.elevation_m(longitude, latitude), rtol=0.0, atol=1e-6
    )
    assert part.elevation[0].array.size < 0.4 * whole.elevation[0].array.size


def test_an_address_reads_only_what_lies_on_its_paths(tmp_path):
    path = write_country(tmp_path, [NEAR, station("far", 47.5, -90.0)])
    damaged = tmp_path / "tiles" / "n43_92.tif"  # south-west of the place; the stations stand north of it
    damaged.write_bytes(damaged.read_bytes()[:3000])
    prepared = prepare_places(covermap.read_scenario(path), [(44.0, -90.05)])
    assert [s.station_id for s in prepared.scenario.stations] == ["near"]
    assert not np.isnan(prepared.terrain.elevation_m(-90.05, 44.0))


def _write_vrt(folder):
    """Write a GDAL virtual mosaic of the tiles, as common tools do."""
    cells = TILES * TILE_CELLS
    sources = "".join(
        f'<SimpleSource><SourceFilename relativeToVRT="1">tiles/n{SOUTH + TILES - row}_{-(WEST + col)}.tif'
        f'</SourceFilename><SourceBand>1</SourceBand><SrcRect xOff="0" yOff="0" xSize="{TILE_CELLS}" '
        f'ySize="{TILE_CELLS}"/><DstRect xOff="{col * TILE_CELLS}" '
        f'yOff="{row * TILE_CELLS}" xSize="{TILE_CELLS}" ySize="{TILE_CELLS}"/></SimpleSource>'
        for row in range(TILES)
        for col in range(TILES)
    )
    (folder / "country.vrt").write_text(
        f'<VRTDataset rasterXSize="{cells}" rasterYSize="{cells}"><SRS>EPSG:4326</SRS>'
        f"<GeoTransform>{WEST}, {1 / TILE_CELLS}, 0, {SOUTH + TILES}, 0, {-1 / TILE_CELLS}</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1">{sources}</VRTRasterBand></VRTDataset>'
    )
