"""The parts of the QGIS plugin that need no QGIS: the command as a child, the executable, texts, the zip."""

import configparser
import os
import signal
import sys
import threading
import time
import tomllib
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

import covermap
from covermap.cli import main
from covermap.constants import RESULT_FORMAT
from covermap.qgis_plugin import cautions, command, executable, result_folder, scenario_text
from covermap.wording.cautions import CAUTIONS


def never():
    return False


def python(script):
    return [sys.executable, "-c", script]


def test_progress_lines_become_percent_of_the_whole_and_text_is_told():
    script = (
        "import sys, json\n"
        "for stage, part in (('paths', 0.5), ('reception', 0.5), ('outputs', 1.0)):\n"
        "    print(json.dumps({'stage': stage, 'fraction': part, 'seconds_left': 1}), file=sys.stderr)\n"
        "print('{no progress', file=sys.stderr)\nprint('done')\n"
    )
    percents, said = [], []
    assert command.run_command(python(script), never, percents.append, said.append) == "done"
    assert percents == [35.0, 80.0, 100.0]
    assert sorted(said) == ["done", "{no progress"]


def test_failure_tells_the_status_and_the_last_twenty_lines():
    script = "import sys\nfor i in range(50): print('line', i, file=sys.stderr)\nsys.exit(2)"
    with pytest.raises(command.CommandFailed) as caught:
        command.run_command(python(script), never, print, print)
    lines = str(caught.value).splitlines()
    assert lines[0] == "covermap ended with status 2."
    assert lines[1:] == [f"line {i}" for i in range(30, 50)]


STUBBORN = """
import signal, subprocess, sys, time
signal.signal(signal.SIGINT, signal.SIG_IGN)
inner = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
print(inner.pid, flush=True)
time.sleep(600)
"""


def test_cancel_ends_the_child_and_its_own_children(monkeypatch):
    monkeypatch.setattr(command, "SECONDS_TO_STOP", 0.5)
    started, pids = threading.Event(), []

    def say(line):
        pids.append(int(line))
        started.set()

    with pytest.raises(command.CommandCanceled):
        command.run_command(python(STUBBORN), started.is_set, print, say)
    assert not alive(pids[0])


def alive(pid, seconds=5.0):
    """Return whether a process still runs after some seconds; one that waits to be collected does not."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            if Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] == "Z":
                return False
            os.kill(pid, 0)
        except (FileNotFoundError, ProcessLookupError):
            return False
        time.sleep(0.05)
    return True


def test_a_child_that_listens_is_only_asked():
    script = (
        "import signal, sys, time\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # a job in the background ignores it
        "print('ready', flush=True)\n"
        "try:\n    time.sleep(60)\n"
        "except KeyboardInterrupt:\n    print('asked', file=sys.stderr)\n    sys.exit(130)\n"
    )
    ready = threading.Event()
    ours, before = signal.getsignal(signal.SIGINT), time.monotonic()
    with pytest.raises(command.CommandCanceled, match="carries on"):
        command.run_command(python(script), ready.is_set, print, lambda line: ready.set())
    assert time.monotonic() - before < 5.0
    assert signal.getsignal(signal.SIGINT) is ours  # left as it was


def make_executable(folder, name="covermap", text="#!/bin/sh\necho covermap, version 9.9\n"):
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_text(text)
    path.chmod(0o755)
    return path


def test_executable_is_the_setting_then_the_variable_then_path(tmp_path):
    setting, variable, on_path = (make_executable(tmp_path / name) for name in "abc")
    everything = {"COVERMAP_EXECUTABLE": str(variable), "PATH": str(on_path.parent)}
    assert executable.find_executable(str(setting), everything) == str(setting)
    assert executable.find_executable("", everything) == str(variable)
    assert executable.find_executable(" ", {"PATH": everything["PATH"]}) == str(on_path)
    assert executable.try_executable(str(setting)) == "covermap, version 9.9"


def test_missing_executable_says_where_it_was_looked_for(tmp_path):
    with pytest.raises(executable.ExecutableError) as caught:
        executable.find_executable("", {"PATH": str(tmp_path)})
    # outputs.md section 6 of the design: plugin setting, then COVERMAP_EXECUTABLE, then PATH
    text = str(caught.value)
    assert text.index("Settings, Options, covermap") < text.index("COVERMAP_EXECUTABLE") < text.index("PATH")
    with pytest.raises(executable.ExecutableError, match="nowhere"):
        executable.find_executable(str(tmp_path / "nowhere"), {"PATH": str(tmp_path)})


@pytest.mark.parametrize(
    ("script", "said"),
    [
        ("echo hello", "it answered 'hello' to"),
        ("echo first >&2; echo no such option >&2; exit 2", "it answered 'no such option' to"),
        ("exit 1", "it answered 'nothing' to"),
    ],
    ids=["another program", "an error", "silence"],
)
def test_a_foreign_executable_is_told(tmp_path, script, said):
    other = make_executable(tmp_path / "d", "other", f"#!/bin/sh\n{script}\n")
    with pytest.raises(executable.ExecutableError, match=said):
        executable.try_executable(str(other))


def test_the_command_does_not_get_variables_of_qgis():
    kept = executable.command_environment({"PYTHONHOME": "x", "PROJ_LIB": "y", "HOME": "z"})
    assert kept == {"HOME": "z", "PYTHONUTF8": "1"}


def test_scenario_text_is_toml_with_relative_paths(tmp_path):
    choices = {
        "": {"name": 'The "Isle"', "output": "."},
        "grid": {"cell_m": 100.0, "west": None},
        "terrain": {"elevation": [tmp_path / "a b.tif", Path("/vsizip/x.zip/y.tif")]},
        "homes": {},
        "wanted.main": {"services": ["Ä;\\", "5.1"]},
    }
    read = tomllib.loads(scenario_text.scenario_text(choices, tmp_path / "out"))
    assert read == {
        "name": 'The "Isle"',
        "output": ".",
        "grid": {"cell_m": 100.0},
        "terrain": {"elevation": ["../a b.tif", "/vsizip/x.zip/y.tif"]},
        "wanted": {"main": {"services": ["Ä;\\", "5.1"]}},
    }
    assert scenario_text.services_of(" Coast TV; 5.1 ;\nRF 24;") == ["Coast TV", "5.1", "RF 24"]


@pytest.mark.parametrize("name", ["caf\u00e9", "x" * 65, "main", "two words", ""])
def test_a_further_list_that_the_command_would_refuse_is_refused_before_it_starts(name):
    with pytest.raises(ValueError, match="Further wanted lists"):
        scenario_text.lists_of(f"{name}: Coast TV")


def test_a_foreign_result_format_names_both_versions(tmp_path):
    (tmp_path / "run.json").write_text('{"result_format": 99, "versions": {"covermap": "7.0"}}')
    with pytest.raises(result_folder.ResultError) as caught:
        result_folder.read_result(tmp_path)
    assert "result_format 99" in str(caught.value)
    assert "covermap 7.0" in str(caught.value)
    assert f"result_format {result_folder.RESULT_FORMAT}" in str(caught.value)


@pytest.mark.parametrize("text", ["", "[]", "{", "null"])
def test_a_damaged_record_is_told(tmp_path, text):
    (tmp_path / "run.json").write_text(text)
    with pytest.raises(result_folder.ResultError, match=r"run\.json"):
        result_folder.read_result(tmp_path)


def test_plugin_reads_the_format_this_version_writes():
    assert result_folder.RESULT_FORMAT == RESULT_FORMAT


def test_help_has_every_caution():
    text = cautions.help_text("What.")
    for sentence in CAUTIONS:
        if "{" not in sentence:
            assert sentence in text
    for word in ("list of stations", "elevation data", "Trees and buildings"):  # those a run fills in
        assert word in text


def test_zip_has_one_folder_with_metadata_of_this_version(tmp_path):
    path = tmp_path / "plugin.zip"
    result = CliRunner().invoke(main, ["qgis-plugin", str(path)])
    assert result.exit_code == 0, result.output
    assert "Install from ZIP" in result.output
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        names = archive.namelist()
        parser = configparser.ConfigParser()
        parser.read_string(archive.read("covermap_plugin/metadata.txt").decode())
    assert {name.split("/")[0] for name in names} == {"covermap_plugin"}
    assert "covermap_plugin/__init__.py" in names
    general = parser["general"]
    assert general["version"] == covermap.__version__
    assert general["qgisMinimumVersion"] == "3.22"
    assert general["hasProcessingProvider"] == "yes"
    for key in ("name", "description", "about", "author", "email"):  # what QGIS requires
        assert general[key]


def test_zip_is_the_same_each_time_and_its_name_is_checked(tmp_path):
    for name in ("a.zip", "b.zip"):
        CliRunner().invoke(main, ["qgis-plugin", str(tmp_path / name)])
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    for name in ("plugin.tar", "nowhere/plugin.zip"):
        result = CliRunner().invoke(main, ["qgis-plugin", str(tmp_path / name)])
        assert result.exit_code == 2
        assert "Nothing was written." in result.output
