"""Antennas of a catalogue on the map page: by the run's reception, packed, shown in a browser."""

import csv
from dataclasses import replace

import numpy as np
import pytest
from small_coverage import GRID
from test_commands import run, write_demo
from test_web_map_access import axe_source, serious_faults
from web_map_browser import NARROW, WIDE, click_cell, known_cell, load
from web_map_case import write_page

import covermap
from covermap.catalogue import installed
from covermap.grid.store import Store
from covermap.inputs.prepare import prepare, store_folder
from covermap.jobs.from_store import from_store
from covermap.jobs.installation_reception import brought, holding
from covermap.jobs.over_cells import all_cells, answer
from covermap.jobs.page_antennas import page_antennas
from covermap.reports.web_map.own_antennas import PageAntenna, PageAntennas
from covermap.scenario.wanted import every_service
from covermap.tables import read_tiers, table_text

SIZES = pytest.mark.parametrize("size", [NARROW, WIDE], ids=["narrow", "wide"])
ROOFTOP = 5
NINETEEN_OF_TWENTY = 1.96  # standard deviations either side, of a normal quantity
GAIN_COLUMNS = (
    "antenna_id", "band", "gain_low_dbd", "gain_dbd", "gain_high_dbd", "beamwidth_deg", "front_to_back_db",
    "source",
)  # fmt: skip
ANTENNAS = """antenna_id,name,kind,mounts,price,source
like_5,Like class 5,combination,rooftop,90,judgement
small,<b>Small</b>,uhf,gable rooftop,40,judgement
"""


def gains_of(antenna_id, tier, less_db=0.0, bands=("low_vhf", "high_vhf", "uhf")):
    figures = tier.gain_dbd, tier.beamwidth_deg, tier.front_to_back_db
    rows = [[antenna_id, band, *(values[band] for values in figures), "judgement"] for band in bands]
    spans = [NINETEEN_OF_TWENTY * tier.gain_sd_db[band] for band in bands]
    return [
        [*row[:2], row[2] - less_db - span, row[2] - less_db, row[2] - less_db + span, *row[3:]]
        for row, span in zip(rows, spans, strict=True)
    ]


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The coarse demo with a catalogue of two: the antenna of class 5, and a small one for UHF."""
    path = write_demo(tmp_path_factory.mktemp("page_antennas") / "demo")
    tier = read_tiers()[ROOFTOP]
    (path.parent / "antennas.csv").write_text(ANTENNAS, "utf-8")
    with (path.parent / "antenna_gains.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(GAIN_COLUMNS)
        writer.writerows(gains_of("like_5", tier) + gains_of("small", tier, 4.0, ("uhf",)))
    (path.parent / "devices.csv").write_text(table_text("devices"), "utf-8")
    text = path.read_text("utf-8")
    if "antennas =" not in text:
        text = text.replace("[reception]", '[reception]\nantennas = "antennas.csv"')
    path.write_text(text, "utf-8")
    result = run("map", path, "--progress", "none")
    assert result.exit_code == 0, result.output
    return path


@pytest.fixture(scope="module")
def prepared(demo):
    return prepare(covermap.read_scenario(demo))


def test_the_antenna_of_a_class_holds_where_the_class_does(demo, prepared):
    """What the page says must not contradict the run: one antenna, mount and chain, one answer."""
    store = Store(store_folder(prepared.scenario, None))
    one = installed("like_5", prepared.catalogue, prepared.tiers)
    found = holding(prepared, store, [[one.plain]], prepared.scenario.wanted[0], all_cells(prepared))[0]
    chance = covermap.open_coverage(demo.parent / "out").read("main/tier_chance")[ROOFTOP - 1]
    known = chance <= 100
    assert np.array_equal(found == 255, ~known)
    assert ((found == 1) == (chance >= 90))[known].mean() > 0.999
    assert {0, 1} <= set(np.unique(found).tolist())


def test_the_services_of_a_class_are_those_of_its_antenna(demo, prepared):
    store = Store(store_folder(prepared.scenario, None))
    one = installed("like_5", prepared.catalogue, prepared.tiers)
    bits = brought(prepared, store, [one.plain], all_cells(prepared))
    classes = covermap.open_coverage(demo.parent / "out").read("service_tiers")
    known = classes[0] != 255
    here, there = (np.sum(one, axis=0, dtype=int) for one in (bits & 1, (classes >> (ROOFTOP - 1)) & 1))
    assert np.array_equal(bits[0] != 255, known)
    assert (np.abs(here - there)[known] <= 1).all()  # the aim is looked for from another one
    assert (here == there)[known].mean() > 0.97


def test_page_values_are_those_of_the_run_and_there_only_with_a_catalogue(prepared):
    store = Store(store_folder(prepared.scenario, None))
    found = from_store(prepared, None).answers().page.antennas
    put_up = [installed(key, prepared.catalogue, prepared.tiers) for key in ("like_5", "small")]
    wanted = prepared.scenario.wanted[0]
    expected = holding(prepared, store, [one.tiers for one in put_up], wanted, all_cells(prepared))
    assert np.array_equal(found.holds[wanted.name], expected)
    assert found.services == every_service(prepared.scenario.stations).services
    assert found.bits.shape == (1, len(found.services), *prepared.grid.shape)
    assert (found.holds[wanted.name][0] == 2).any()  # an amplifier helps somewhere
    settings = prepared.scenario.settings
    bare = settings.model_copy(update={"reception": settings.reception.model_copy(update={"antennas": None})})
    without = replace(prepared, scenario=replace(prepared.scenario, settings=bare))
    answers = from_store(without, None).answers()
    assert answers.page.antennas is None
    assert answers.stock is None
    assert answers.page.alone is not None


def test_a_coarser_page_takes_the_cells_in_the_middle(prepared):
    grid = prepared.grid
    coarse = replace(grid, cell_m=3 * grid.cell_m, rows=-(-grid.rows // 3), cols=-(-grid.cols // 3))
    store = Store(store_folder(prepared.scenario, None))
    fine, found = (
        answer(prepared, store, page_antennas(prepared, one)).holds["main"] for one in (grid, coarse)
    )
    rows, cols = (np.minimum(np.arange(0, size, 3) + 1, size - 1) for size in grid.shape)
    assert np.array_equal(found, fine[:, rows][:, :, cols])


# ---- in the browser


def made_up():
    """Return two antennas: the first holds the list in the west, further east with an amplifier."""
    column = np.broadcast_to(np.arange(GRID.cols), GRID.shape)
    first = np.select([column < 14, column < 22, column < 28], [1, 2, 3]).astype(np.uint8)
    second = np.zeros(GRID.shape, np.uint8)
    bits = np.stack([np.where(column < 20, 3, 1), np.where(column < 20, 1, 0), np.zeros(GRID.shape)])
    antennas = (
        PageAntenna("Broad <b>one</b>", "rooftop", 95.0, (("An amplifier", 55.0), ("Another", float("nan")))),
        PageAntenna("Small", "window", float("nan"), ()),
    )
    services = ("Alpha", "Beta <b>Bold</b>", "Gamma")
    both = np.stack([first, second])
    return PageAntennas(antennas, {"main": both, "few": both}, services, bits[None].astype(np.uint8))


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    return write_page(tmp_path_factory.mktemp("antennas"), optional=True, antennas=made_up())


def choose(browser, order):
    browser.execute_async_script(
        "page.antenna = arguments[0]; choose_shows('antenna'); renew_picture().then(() => arguments[1]())",
        order,
    )


def painted_at(browser, row, col):
    script = "return [...picture.canvas.getContext('2d').getImageData(arguments[1], arguments[0], 1, 1).data]"
    return browser.execute_script(script, row, col)


@pytest.mark.browser
def test_the_map_takes_the_colours_of_the_chosen_antenna(browser, case):
    load(browser, case, WIDE)
    choose(browser, 0)
    script = """
        return layer(antenna_layer(page.antenna)).then((bytes) => {
          const found = {};
          for (let index = 0; index < bytes.length; index++) {
            if (picture.tier[index] > 8) continue;
            const [row, col] = [Math.floor(index / page.facts.grid.cols), index % page.facts.grid.cols];
            const [r, g, b] = picture.canvas.getContext('2d').getImageData(col, row, 1, 1).data;
            (found[bytes[index]] ||= new Set()).add([r, g, b].join());
          }
          return Object.fromEntries(Object.entries(found).map(([value, set]) => [value, [...set]]));
        })"""
    colours = browser.execute_script(script)
    assert set(colours) == {"0", "1", "2", "3"}
    assert all(len(one) == 1 for one in colours.values())  # the relief of the small case is flat
    assert colours["2"] == colours["3"]  # with an amplifier, whichever it is
    assert len({one[0] for one in colours.values()}) == 3
    choose(browser, 1)
    assert set(browser.execute_script(script)) == {"0"}


@pytest.mark.browser
@SIZES
def test_key_choice_and_card_say_what_each_antenna_brings(browser, case, size):
    load(browser, case, size)
    browser.execute_script("find('#shows_part').open = true")
    choose(browser, 0)
    said = browser.execute_script("return find('#shows').innerText")
    for part in (
        "My antenna",
        "holds the list",
        "holds it with an amplifier",
        "does not hold it",
        "the least costly of those worth trying",
    ):
        assert part in said
    row, col = known_cell(case[0], 6)
    card = click_cell(browser, row, col)
    holds = {
        1: "holds the list",
        2: "holds it with an amplifier (An amplifier, 55)",
        3: "holds it with an amplifier (Another)",
        0: "does not hold it",
    }
    value = 1 if col < 14 else 2 if col < 22 else 3 if col < 28 else 0
    assert "Antennas of the catalogue here" in card
    first = browser.execute_script("return document.querySelector('.antennas li').innerText")
    assert "Broad <b>one</b>, rooftop, 95" in first
    assert holds[value] in first
    count = 2 if col < 20 else 1
    assert f"{count} of 3 services" in first
    assert not browser.find_elements("css selector", ".antennas b")
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


@pytest.mark.browser
@SIZES
@pytest.mark.parametrize("state", ["mode", "card"])
def test_checker_finds_no_serious_fault_in_the_antennas(browser, case, size, state):
    source = axe_source()
    load(browser, case, size)
    browser.execute_script("find('#shows_part').open = true")
    choose(browser, 0)
    if state == "card":
        click_cell(browser, *known_cell(case[0], 6))
    if size == NARROW:
        browser.execute_script("set_sheet('full')")
    assert serious_faults(browser, source) == []


@pytest.mark.browser
def test_a_page_without_a_catalogue_offers_no_antenna(browser, tmp_path):
    case = write_page(tmp_path)
    load(browser, case, WIDE)
    assert "My antenna" not in browser.execute_script(
        "find('#shows_part').open = true; return find('#shows').innerText"
    )
    assert "Antennas of the catalogue" not in click_cell(browser, *known_cell(case[0], 6))
