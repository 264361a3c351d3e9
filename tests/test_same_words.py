"""The page's script and Python word one record alike: the same rasters, the same sentences, by square."""

import numpy as np
import pytest
from small_coverage import GRID
from web_map_browser import load
from web_map_case import make_areas, make_scenario, make_zones, place_of_cell, write_page

from covermap.scenario.letters import service_names
from covermap.wording.causes import cause_words
from covermap.wording.lists import together_words
from covermap.wording.palette import TIERS
from covermap.wording.verdicts import AMPLIFIER_CODES, amplifier_words, one_lower_words
from covermap.wording.words import chance_text

pytestmark = pytest.mark.browser
SERVICES = make_scenario().wanted[0].services
CONFIDENCE = 90.0
PLACES = 300


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    return write_page(tmp_path_factory.mktemp("words"), optional=True, areas=make_areas(), zones=make_zones())


def label(tier):
    return f"{tier} {TIERS[tier - 1].name}"


def in_python(coverage, row, col):
    """Return what a square's rasters say in the words of covermap.wording."""

    def of(kind):
        return coverage.read(f"main/{kind}")[..., row, col]

    tier = int(of("tier"))
    chance = of("tier_chance")
    lower = of("service_chance") if tier == 8 else of("service_chance_one_lower")
    kept = [name for name, percent in zip(SERVICES, lower, strict=True) if percent >= CONFIDENCE]
    names = service_names(make_scenario(), "main")
    together = together_words(len(SERVICES), len(SERVICES))
    causes = coverage.tag_values("main/main_cause", "CAUSES")
    cause = causes[int(of("main_cause"))]
    by_whom = ", Gamma (C), RF 16" if cause == "same_channel" else ""  # the interferer of the small result
    return {
        "chance": f"{together}: {chance_text(int(chance[min(tier, 7) - 1]))}",
        "decides": "" if tier == 1 else f"{names[SERVICES[int(of('deciding_service'))]]} decides.",
        "cause": f"Why it is hard here: {cause_words(cause)}{by_whom}.",
        "amplifier": amplifier_words(AMPLIFIER_CODES[int(of("amplifier"))]),
        "one_lower": ""
        if tier == 1
        else one_lower_words(label(tier - 1), kept, SERVICES, CONFIDENCE, float(chance[tier - 2])),
    }


IN_PAGE = """
    const [places, done] = arguments;
    Promise.all(places.map(async (place) => {
        const cell = await read_cell(pixel_at(L.latLng(place)));
        return {
            chance: `${together_words(cell)}${chance_text(cell.chance_percent)}`
                .replace(", even from a tall mast", ""),
            decides: cell.tier === 1 ? "" : deciding_words(cell),
            cause: cause_words(cell),
            amplifier: plan_notes(cell)[0],
            one_lower: one_lower_words(cell),
        };
    })).then(done);
"""


def test_every_sentence_of_a_square_is_the_one_python_says(browser, case):
    coverage, _ = case
    load(browser, case)
    tier = coverage.read("main/tier")
    cells = np.argwhere(tier <= 8)
    chosen = cells[np.linspace(0, len(cells) - 1, PLACES).astype(int)]
    places = [place_of_cell(row, col)[::-1] for row, col in chosen.tolist()]
    found = browser.execute_async_script(IN_PAGE, places)
    assert len({tuple(said.values()) for said in found}) > 50  # the squares differ
    for (row, col), said in zip(chosen.tolist(), found, strict=True):
        words = {key: text.replace("\u00a0", " ") for key, text in said.items()}
        assert words == in_python(coverage, row, col), (row, col)
    assert GRID.cells > PLACES
