"""`covermap map` as a process of its own, which a test stops, robs or deprives while it runs."""

import json
import os
import subprocess
import sys
from pathlib import Path

from covermap import jobs
from covermap.result.whole_file import TEMPORARY_FOLDER

HERE = Path(__file__).parent
LONGEST_S = 400
COMMAND = (sys.executable, "-m", "covermap", "map")


def write_coarse_demo(folder, changes=None):
    """Write the demo with cells of 1000 m; changes: text of the scenario -> other text."""
    jobs.write_demo(folder)
    path = folder / "scenario.toml"
    text = path.read_text("utf-8")
    for old, new in {"cell_m = 100": "cell_m = 1000", **(changes or {})}.items():
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, "utf-8")
    return path


def environment(**more):
    return {**os.environ, "PYTHONPATH": str(HERE.parent), **more}


def start_map(scenario, output, store, *arguments, command=COMMAND, **popen):
    """Start `covermap map` with JSON lines of progress on its standard error."""
    options = ["--output", output, "--store", store, "--workers", "2", "--progress", "json", *arguments]
    return subprocess.Popen(
        [str(part) for part in (*command, scenario, *options)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **{"env": environment(), **popen},
    )


def wait_for(process, stage):
    """Read what a run tells until it comes to a stage."""
    for line in process.stderr:
        if line.startswith("{") and json.loads(line)["stage"] == stage:
            return
    raise AssertionError(f"the run ended before {stage}: {process.communicate()}")


def ended(process):
    """Wait for the end; return the exit status, what was said, and what went wrong without its progress."""
    said, told = process.communicate(timeout=LONGEST_S)
    wrong = "\n".join(line for line in told.splitlines() if not line.startswith("{"))
    assert "Traceback" not in wrong, wrong
    assert "a fault in it" not in wrong, wrong
    return process.returncode, said, wrong


def content(folder):
    """Return the bytes of every file below a folder, hidden ones too."""
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def hidden(folder):
    """Return what stands unfinished below a folder."""
    return list(folder.rglob(TEMPORARY_FOLDER))
