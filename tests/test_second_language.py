"""Pages in another language: nothing of them stays English, and what is computed in English is said again."""

import json
import re

import numpy as np
import pytest
from html_text import visible
from small_coverage import GRID, make_scenario, write_small_coverage
from test_changes import moved, one_step

from covermap.jobs.comparing import changes
from covermap.measurements.survey import survey_points
from covermap.planning.areas import summarise_whole
from covermap.planning.changes import differences
from covermap.reports.brief import write_brief
from covermap.reports.comparison import write_comparison
from covermap.reports.fieldwork.survey_files import survey_sheet
from covermap.scenario.station_words import NOT_ON_AIR
from covermap.wording.cautions import NOT_COUNTED, cautions
from covermap.wording.language import ENGLISH, languages, messages, speaking
from covermap.wording.retold import retold

OTHERS = [language for language in languages() if language != ENGLISH]
# words of English sentences that are no words of German ones; names and units do not count
ENGLISH_WORDS = {
    "the", "of", "and", "with", "this", "is", "are", "not", "homes", "home", "which", "antenna", "squares",
    "before", "need", "needs", "station", "stations", "without", "weaker", "stronger", "signal",
}  # fmt: skip


def english_words(text):
    words = re.findall(r"[^\W\d]+", re.sub(r"\{\w+\}|covermap [a-z-]+", "", text))
    return sorted(set(words) & ENGLISH_WORDS)


@pytest.mark.parametrize("language", OTHERS)
def test_no_message_of_a_language_has_english_words(language):
    found = {key: english_words(text) for key, text in messages(language).items()}
    allowed = {"relay.by_land", "layer.dead_zones"}  # name the table [homes], the column homes
    assert {key: words for key, words in found.items() if words and key not in allowed} == {}


@pytest.mark.parametrize("language", OTHERS)
def test_the_brief_is_in_the_language_with_its_numbers(language, tmp_path):
    coverage = write_small_coverage(tmp_path)
    with speaking(language):
        grey = np.full(GRID.shape, 226, np.uint8)
        path = write_brief(coverage, make_scenario(coverage), summarise_whole(coverage), grey, tmp_path)
    page = path.read_text("utf-8")
    assert f'<html lang="{language}">' in page
    text = visible(page)
    assert english_words(text) == []
    assert re.search(r"\d,\d dB", text)  # decimal comma of the spread


@pytest.mark.parametrize("language", OTHERS)
def test_changes_are_in_the_language(language, tmp_path):
    before = write_small_coverage(tmp_path / "a")
    after = moved(tmp_path / "b", before, one_step)
    with speaking(language):
        said = write_comparison(changes(before, after), before, after, tmp_path / "changes")
    page = (tmp_path / "changes" / "changes.html").read_text("utf-8")
    assert english_words(visible(page).replace(str(tmp_path), "")) == []
    assert english_words(" ".join(said)) == []
    record = json.loads((tmp_path / "changes" / "changes.json").read_text("utf-8"))
    assert record["cautions"] == before.run["cautions"]  # data stay as they are


@pytest.mark.parametrize("language", OTHERS)
def test_the_survey_sheet_is_in_the_language(language, tmp_path):
    coverage = write_small_coverage(tmp_path)
    with speaking(language):
        page = survey_sheet(survey_points(coverage, "main", 3), coverage, coverage.run["cautions"])
    assert english_words(visible(page)) == []
    assert 'src="data:image/png;base64,' in page


@pytest.mark.parametrize("language", OTHERS)
def test_cautions_of_a_record_are_said_again_and_others_stay(language):
    told = cautions(stations_as_of="", terrain="a.tif (bare earth)", cell_m=100, not_counted=NOT_COUNTED)
    with speaking(language):
        again = retold([*told, "Data by Somebody."])
        directly = cautions(stations_as_of="", terrain="a.tif (bare earth)", cell_m=100)
    assert again == [*directly, "Data by Somebody."]
    assert english_words(" ".join(directly)) == []
    assert retold(told) == told


def record(**changed):
    return {
        "models": {"chosen": "p1812"},
        "versions": {"physics": "4"},
        "inputs": [],
        "options": {},
    } | changed


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize(
    "after",
    [
        record(models={"chosen": "itm"}),
        record(versions={"physics": "5"}),
        record(not_counted=["x"]),
        record(inputs=[{"role": "terrain.elevation", "sha256": "1"}]),
        record(options={"reception": {"confidence_percent": 80}}),
    ],
)
def test_every_difference_of_two_runs_is_said_again(language, after):
    sentences = differences(record(), after)
    assert len(sentences) == 1
    with speaking(language):
        assert retold(sentences) != list(sentences)
        assert english_words(" ".join(retold(sentences)).replace("not_counted", "")) == []


def test_every_reason_to_leave_a_row_out_is_said_again():
    reasons = {*NOT_ON_AIR.values(), "radio", "analogue", "repeated", "planned beside on air", "ERP unknown"}
    with speaking("de"):
        assert [reason for reason in sorted(reasons) if retold([reason]) == [reason]] == []
