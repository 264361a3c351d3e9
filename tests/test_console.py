"""What a terminal is told: names that it would obey, turn round or cannot write."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from covermap.cli.main import main
from covermap.cli.progress import progress_on_stderr
from covermap.cli.terminal import printable
from covermap.constants import RESULT_FORMAT

ROOT = Path(__file__).resolve().parents[1]


def covermap(*arguments, **environment):
    return subprocess.run(
        [sys.executable, "-m", "covermap", *map(str, arguments)],
        capture_output=True,
        timeout=120,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )


GRID = {"crs_wkt": "", "cell_m": 1, "x_min": 0, "y_max": 0, "rows": 1, "cols": 1}
# Unicode Standard Annex 9 (Unicode Bidirectional Algorithm), section 2: all explicit and implicit marks
MARKS_OF_DIRECTION = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


@pytest.mark.parametrize(
    "letter", [*MARKS_OF_DIRECTION, "\x1b", "\x07", "\x7f", "\x9b", "\r", "\u2028", "\udcff"]
)
def test_what_a_terminal_obeys_is_shown_as_an_escape(letter):
    shown = printable(f"Mill{letter}Hill")
    assert shown == f"Mill\\u{ord(letter):04x}Hill"
    assert json.loads(f'"{shown}"') == f"Mill{letter}Hill"  # so JSON on standard output stays what it is


@pytest.mark.parametrize("name", ["Ørsted", "島の山", "جبل الشيخ", "הר מירון", "Żabiniec 🏔"])
def test_names_of_any_script_are_shown_as_they_are(name):
    assert printable(name) == name


def test_an_error_about_a_name_that_runs_backwards_shows_how(tmp_path):
    done = covermap("check", tmp_path / "plan\u202elmot.oiranecs")
    assert done.returncode == 2
    assert "\\u202e" in done.stderr.decode()
    assert "\u202e" not in done.stderr.decode()


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "latin-1", "utf-8"])
def test_a_console_that_cannot_write_a_name_gets_an_escape(tmp_path, encoding):
    folder = tmp_path / "島"
    done = covermap("demo", folder, PYTHONIOENCODING=encoding, PYTHONUTF8="0")
    assert done.returncode == 0, done.stderr
    assert b"Traceback" not in done.stderr
    assert (folder / "scenario.toml").is_file()
    said = done.stdout.decode("utf-8")
    assert ("島" in said) or ("\\u5cf6" in said)


def test_a_name_in_brackets_is_no_markup_of_the_living_line(monkeypatch, capsys):
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm")
    with progress_on_stderr("auto") as report:
        assert report("paths", 0.5, "mast 3 of 5, [/red] Ham\u202e Hill [bold]")
    shown = capsys.readouterr().err
    assert "\u202e" not in shown


@pytest.mark.parametrize(
    "record",
    [
        {},
        {"grid": {}, "wanted": {}},
        {"grid": {"rows": "many"}, "wanted": {"main": {"services": ["A"]}}},
        {"grid": [], "wanted": []},
        {"wanted": {"main": {"services": ["A"]}}},
        {
            "grid": {"crs_wkt": "", "cell_m": 1, "x_min": 0, "y_max": 0, "rows": 1, "cols": 1},
            "wanted": {"main": 1},
        },
    ],
)
@pytest.mark.parametrize("command", [["fieldwork", "{out}"], ["changes", "{out}", "{out}"]])
def test_a_record_of_a_run_that_is_not_whole_is_said_in_words(tmp_path, record, command):
    (tmp_path / "run.json").write_text(json.dumps({"result_format": RESULT_FORMAT} | record))
    done = CliRunner().invoke(main, [part.format(out=tmp_path) for part in command])
    assert done.exit_code == 2, done.output
    assert "run.json: not what a finished run writes" in done.output
    assert [path.name for path in tmp_path.iterdir()] == ["run.json"]
