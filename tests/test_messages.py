"""The messages of every language: the same keys and names in braces, and every key that is asked for."""

import json
import re
from pathlib import Path
from typing import get_args

import pytest
from web_map_case import write_page

from covermap.scenario.settings import DisplaySettings
from covermap.wording.language import ENGLISH, languages, messages, say, speaking
from covermap.wording.words import chance_text, day_text, distance, homes_number

PACKAGE = Path(__file__).resolve().parents[1] / "covermap"
OTHERS = [language for language in languages() if language != ENGLISH]


def names(text):
    return sorted(set(re.findall(r"\{(\w+)\}", text)))


@pytest.mark.parametrize("language", OTHERS)
def test_a_language_has_every_message_with_the_same_names(language):
    english, other = messages(ENGLISH), messages(language)
    assert set(other) == set(english)
    differing = {
        key: (english[key], other[key]) for key in english if names(english[key]) != names(other[key])
    }
    assert differing == {}
    lists = ("number.months", "number.compass", "number.spelled")
    assert all(len(other[key].split()) == len(english[key].split()) for key in lists)


def test_a_scenario_may_ask_for_every_language_there_is():
    field = DisplaySettings.model_fields["language"]
    assert sorted(get_args(field.annotation)) == list(languages())


@pytest.mark.parametrize("language", OTHERS)
def test_the_map_page_is_in_the_language_throughout(language, tmp_path):
    with speaking(language):
        _, path = write_page(tmp_path, optional=True)
    facts = json.loads(re.search(r'id="facts">(.*?)</script>', path.read_text("utf-8"), re.DOTALL)[1])
    other, english = messages(language), messages(ENGLISH)
    assert f'<html lang="{language}">' in path.read_text("utf-8")
    said = [tier["name"] for tier in facts["tiers"]] + list(facts["words"].values())
    said += [facts["lists"][0]["words"]["subject"], *facts["lists"][0]["causes"]]
    same = {text for key, text in english.items() if other[key] == text}
    assert not {text for text in said if len(text) > 2} & (set(english.values()) - same)


def keys_asked_for():
    """Return the keys written out in scripts and modules, those with a part filled in left aside."""
    found = set()
    for path in [*PACKAGE.rglob("*.py"), *PACKAGE.rglob("*.js"), *PACKAGE.rglob("*.html")]:
        for key in re.findall(r"\bsay\(\s*[\"']([\w.]+)[\"']", path.read_text("utf-8")):
            found.add(key)
    return found


def test_every_key_that_is_asked_for_is_there():
    known = messages(ENGLISH)
    missing = {key for key in keys_asked_for() if key not in known and f"{key}.one" not in known}
    assert len(keys_asked_for()) > 100
    assert missing == set()


def test_numbers_follow_the_language_and_english_comes_back():
    with speaking("de"):
        said = [homes_number(4836), distance(9.4), day_text("2026-09-01"), chance_text(95)]
    assert said == ["4.800", "9,4 km", "1. September 2026", "besser als 90 %"]
    assert [homes_number(4836), distance(9.4)] == ["4,800", "9.4 km"]
    with pytest.raises(KeyError):
        say("no.such.key")
