"""The README keeps its promises: commands on one line, cautions, pictures that exist."""

import re

from covermap.outputs.cautions import CAUTIONS, NOT_COUNTED
from tests.reference import ROOT

README = (ROOT / "README.md").read_text("utf-8")


def one_line(text):
    return re.sub(r"\s+", " ", text)


def test_every_caution_stands_in_the_readme():
    for sentence in (*CAUTIONS, *NOT_COUNTED):
        words = one_line(sentence.split("{")[0])
        assert words in one_line(README)


def test_pictures_and_pages_exist():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target
