"""One answer for one place: reception's record of a square, the page of its map, and the sentences of both.

That a square and an address with the same fields have one record is tests/test_one_record.py.
"""

from dataclasses import fields
from types import SimpleNamespace

import numpy as np
import pytest
from reference import reference_path
from test_commands import run, write_demo
from test_one_record import REAL_SCENARIO, REAL_STATIONS
from web_map_browser import load

from covermap import read_scenario
from covermap.grid.store import Store
from covermap.inputs.prepare import prepare, store_folder
from covermap.jobs.path_stage import tile_blocks
from covermap.jobs.tile_reception import receive_tile
from covermap.reception import ReceiverRecord
from covermap.result import open_coverage
from covermap.result.station_names import station_names
from covermap.scenario.letters import service_names
from covermap.wording.causes import hard_words
from covermap.wording.lists import together_words
from covermap.wording.verdicts import AMPLIFIER_CODES, amplifier_words, one_lower_words, plan_note
from covermap.wording.words import chance_text

pytestmark = pytest.mark.browser
PLACES = 300
NOT_ON_THE_PAGE = {  # members that the page neither shows nor needs
    "polarizations",
    "tier_chance_percent",
    "dead_zone_chance_percent",
    "service_station",
    "service_interferer",
    "service_interference_db",
    "tier_weaker",
    "tier_stronger",
}


def write_real(folder):
    """Write a scenario on real ground: one list of four services, of which one has two masts."""
    elevation = reference_path("terrain/logan_ut/logan_dem_100m.tif")
    folder.mkdir()
    (folder / "transmitters.csv").write_text(REAL_STATIONS, "utf-8")
    text = REAL_SCENARIO.format(elevation=elevation).replace("cell_m = 100", "cell_m = 500")
    (folder / "scenario.toml").write_text(text[: text.index("[wanted.some]")], "utf-8")
    return folder / "scenario.toml"


@pytest.fixture(scope="module", params=["demo", "real ground"])
def scene(request, tmp_path_factory):
    """A map, and reception's records of the tile that holds most of it."""
    folder = tmp_path_factory.mktemp("one_answer") / "area"
    if request.param == "demo":
        path = write_demo(folder, {"cell_m = 100": "cell_m = 300"})
    else:
        path = write_real(folder)
    assert run("map", path).exit_code == 0
    prepared = prepare(read_scenario(path))
    tile = max(prepared.grid.tiles(128), key=lambda tile: tile.rows * tile.cols)
    blocks = tile_blocks(prepared, Store(store_folder(prepared.scenario, None)), tile)
    records = receive_tile(prepared, tile, blocks).lists["main"]
    known = np.flatnonzero(records.reception.tier <= 8)
    chosen = known[np.linspace(0, known.size - 1, PLACES).astype(int)]
    coverage = open_coverage(prepared.scenario.output)
    return SimpleNamespace(
        demo=request.param == "demo",
        case=(coverage, prepared.scenario.output / "map.html"),
        scenario=prepared.scenario,
        tier_names=coverage.tier_names,
        tile=tile,
        records=records,
        places=[list(prepared.grid.lonlat_of(*of_cell(tile, cell)))[::-1] for cell in chosen.tolist()],
    )


def of_cell(tile, cell):
    row, col = divmod(cell, tile.cols)
    return np.array([tile.row + row]), np.array([tile.col + col])


IN_PAGE = """
    const [places, done] = arguments;
    const code = (cause) => (cause == null ? "" : page.list.cause_codes[cause]);
    const { services } = page.list;
    const named = (values) => Object.fromEntries(services.map((name, order) => [name, values[order]]));
    const service = (order) => services[order] ?? null;
    Promise.all(places.map(async ([[latitude], [longitude]]) => {
        const cell = await read_cell(pixel_at(L.latLng(latitude, longitude)));
        const two = cell.second_aim_deg != null;
        const kept = cell.tier === 8 ? cell.service_percent : cell.one_lower_percent;
        const causes = services.map((_, order) => code(cell.service_cause[order]));
        return {
            row: cell.row, col: cell.col,
            members: {
                tier: cell.tier,
                aims_deg: two ? [cell.aim_deg, cell.second_aim_deg] : [cell.aim_deg],
                first_range: cell.aim_from_deg == null ? null : [cell.aim_from_deg, cell.aim_to_deg],
                chance_percent: cell.chance_percent,
                limiting_service: service(cell.limiting),
                deciding_service: service(cell.deciding),
                service_chance_percent: named(cell.service_percent),
                service_cause: named(causes),
                kept_one_lower: cell.tier === 1 ? [] : services.filter((_, order) => surely(kept[order])),
                tier_without_deciding: cell.tier_without_deciding,
                main_cause: code(cell.main_cause),
                main_interferer: INTERFERENCE.includes(code(cell.main_cause))
                    ? page.list.interferers[cell.interferer] : null,
                amplifier: cell.amplifier,
                flags: cell.plan_flags,
            },
            words: {
                chance: `${together_words(cell)}${chance_text(cell.chance_percent, cell.tier >= 7)}`,
                decides: cell.tier === 1 ? "" : deciding_words(cell),
                cause: cause_words(cell),
                notes: plan_notes(cell),
                one_lower: one_lower_words(cell),
            },
        };
    })).then(done, (error) => done(String(error)));
"""


@pytest.fixture(scope="module")
def answers(scene, browser):
    """What the page says of every chosen square, beside reception's record of it."""
    load(browser, scene.case)
    browser.set_script_timeout(120)  # every layer of the page is unpacked once
    places = [[latitude.tolist(), longitude.tolist()] for latitude, longitude in scene.places]
    found = browser.execute_async_script(IN_PAGE, places)
    assert isinstance(found, list), found
    tile = scene.tile
    cells = [(said["row"] - tile.row) * tile.cols + said["col"] - tile.col for said in found]
    assert len(set(cells)) > 0.95 * PLACES  # squares of the page are not those of the grid, but as many
    return [(said, scene.records.at(cell)) for said, cell in zip(found, cells, strict=True)]


def test_the_page_holds_every_member_of_the_record(scene, answers):
    compared = set()
    for said, record in answers:
        members = said["members"]
        told = {
            **members,
            "aims_deg": tuple(members["aims_deg"]),
            "kept_one_lower": tuple(members["kept_one_lower"]),
            "amplifier": "" if members["amplifier"] is None else AMPLIFIER_CODES[members["amplifier"]],
            "remarks": tuple(name for name, bit in REMARK_BITS.items() if members["flags"] & bit),
            "joined": joined_of(members),
            "aim_ranges_deg": members["first_range"],
        }
        del told["flags"], told["first_range"]
        expected = {name: getattr(record, name) for name in told}
        number = record.main_interferer
        expected["main_interferer"] = None if number < 0 else scene.scenario.stations[number].station_id
        first = record.aim_ranges_deg[0]
        expected["aim_ranges_deg"] = None if first is None else list(first)
        assert told == expected, (said["row"], said["col"])
        compared |= set(told)
    assert {member.name for member in fields(ReceiverRecord)} - compared == NOT_ON_THE_PAGE


REMARK_BITS = {
    "needs_filter": 1,
    "may_overload": 2,
    "lost_at_night": 4,
    "own_high_vhf": 8,
    "smooth_earth": 64,
}
DIPLEXED = 16


def joined_of(members):
    if len(members["aims_deg"]) == 1:
        return "single"
    return "diplexed" if members["flags"] & DIPLEXED else "combined"


def in_python(scene, record):
    """Return the sentences of a record, as sheet, brief and layers word it."""
    services = scene.scenario.wanted[0].services
    names = service_names(scene.scenario, "main")

    def label(tier):
        return f"{tier} {scene.tier_names[tier - 1]}"

    number = record.main_interferer
    station = "" if number < 0 else station_names(scene.scenario)[scene.scenario.stations[number].station_id]
    lower = 7 if record.tier == 8 else record.tier - 1
    chance = chance_text(record.chance_percent, highest=record.tier >= 7)
    return {
        "chance": f"{together_words(len(services), len(services))}: {chance}",
        "decides": "" if record.tier == 1 else f"{names[record.deciding_service]} decides.",
        "cause": hard_words(record.main_cause, station),
        "notes": [
            *([amplifier_words(record.amplifier)] if record.amplifier else []),
            *(plan_note(name) for name in sorted(record.remarks, key=REMARK_BITS.get)),
        ],
        "one_lower": ""
        if record.tier == 1
        else one_lower_words(
            label(lower), record.kept_one_lower, services, 90.0, record.tier_chance_percent[lower - 1]
        ),
    }


def test_every_sentence_of_a_square_is_the_one_of_its_record(scene, answers):
    assert len({str(said["words"]) for said, _ in answers}) > (40 if scene.demo else 10)  # squares differ
    for said, record in answers:
        words = said["words"]
        told = {
            **words,
            "chance": words["chance"].replace(", even from a tall mast", ""),
            "notes": [note for note in words["notes"] if note not in ANTENNA_NOTES],
        }
        told = {key: as_plain(value) for key, value in told.items()}
        assert told == {key: as_plain(value) for key, value in in_python(scene, record).items()}, (
            said["row"],
            said["col"],
        )


ANTENNA_NOTES = [plan_note(name) for name in ("diplexed", "vertical", "second_vertical")]


def as_plain(value):
    if isinstance(value, list):
        return [as_plain(one) for one in value]
    return value.replace("\u00a0", " ")


def test_the_squares_have_something_of_everything(scene, answers):
    records = [record for _, record in answers]
    assert len({record.tier for record in records}) >= (6 if scene.demo else 3)
    assert len({record.amplifier for record in records}) >= 3
    assert len({record.main_cause for record in records}) >= (4 if scene.demo else 2)
