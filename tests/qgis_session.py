"""Runs QGIS for tests: qgis_process, and scripts in the Python QGIS comes with, both without a screen."""

import json
import os
import shutil
import subprocess
import sys
import zipfile
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner

from covermap.cli import main
from covermap.jobs.plugin_zip import FOLDER_IN_ZIP, write_plugin_zip

QGIS_PYTHON = "/usr/bin/python3"  # Debian's; importing numba or a new numpy into it would break other plugins
QGIS_PROCESS = "qgis_process.bin"  # the wrapper without .bin fails on Debian
SECONDS = 300
COMMAND = Path(sys.executable).with_name("covermap")

_BEGIN = """
import json, os, sys
from pathlib import Path
from qgis.core import *
application = QgsApplication([], True)
application.initQgis()
sys.path.insert(0, os.environ["PLUGINS"])
given = json.loads(os.environ["GIVEN"])
answer = {}
"""
_END = """
print("ANSWER" + json.dumps(answer))
sys.stdout.flush()
os._exit(0)  # QGIS's own ending may crash without a screen
"""


def require_qgis():
    """Skip the test where there is no QGIS; fail it where COVERMAP_REQUIRE_QGIS=1."""
    if shutil.which(QGIS_PROCESS) and Path(QGIS_PYTHON).exists():
        found = subprocess.run(
            [QGIS_PYTHON, "-c", "import qgis.core, osgeo_utils"], capture_output=True, check=False
        )
        if found.returncode == 0:
            return
    if os.environ.get("COVERMAP_REQUIRE_QGIS") == "1":
        pytest.fail("QGIS is not installed: apt-get install qgis python3-qgis python3-gdal")
    pytest.skip("QGIS is not installed")


@cache
def predicted_demo(folder):
    """Predict the demo at 1 km below a folder, once; return the path of its scenario."""
    place = Path(folder) / "demo_of_qgis" / "demo"
    runner = CliRunner()
    assert runner.invoke(main, ["demo", str(place)]).exit_code == 0
    path = place / "scenario.toml"
    path.write_text(path.read_text("utf-8").replace("cell_m = 100", "cell_m = 1000"), "utf-8")
    result = runner.invoke(main, ["map", str(path), "--progress", "none"])
    assert result.exit_code == 0, result.output
    return path


class QgisSession:
    """A QGIS profile of its own with the plugin installed from its zip."""

    def __init__(self, folder):
        self.folder = Path(folder)
        self.plugins = self.folder / "profiles" / "default" / "python" / "plugins"
        self.plugins.mkdir(parents=True)
        with zipfile.ZipFile(write_plugin_zip(self.folder / "plugin.zip")) as archive:
            archive.extractall(self.plugins)
        self.process("plugins", "enable", FOLDER_IN_ZIP)

    def environment(self, **more):
        """Return the variables QGIS starts with; a value of None takes a variable away."""
        variables = {
            **os.environ,
            # QGIS takes the first python3 on the path for its own, also that of an activated environment
            "PATH": f"{Path(QGIS_PYTHON).parent}{os.pathsep}{os.environ['PATH']}",
            "QT_QPA_PLATFORM": "offscreen",
            "QGIS_CUSTOM_CONFIG_PATH": str(self.folder),
            "XDG_RUNTIME_DIR": str(self.folder),
            "COVERMAP_EXECUTABLE": str(COMMAND),
            "PLUGINS": str(self.plugins),
            **more,
        }
        return {name: value for name, value in variables.items() if value is not None}

    def process(self, *arguments, **more):
        """Run qgis_process and return what it did."""
        return subprocess.run(
            [QGIS_PROCESS, *map(str, arguments)],
            capture_output=True, text=True, timeout=SECONDS, env=self.environment(**more), check=False,
        )  # fmt: skip

    def algorithm(self, name, parameters, **more):
        """Run an algorithm of the plugin through qgis_process; return (status, results, all it said)."""
        pairs = [f"--{key}={value}" for key, value in parameters.items()]
        done = self.process("run", f"covermap:{name}", "--json", *pairs, **more)
        start = done.stdout.find("{")
        results = json.loads(done.stdout[start:])["results"] if done.returncode == 0 else {}
        return done.returncode, results, done.stdout + done.stderr

    def script(self, text, given=None, **more):
        """Run a script in QGIS's Python: it reads `given` and fills `answer`, which is returned."""
        environment = self.environment(GIVEN=json.dumps(given or {}), PYTHONPATH=None, **more)
        done = subprocess.run(
            [QGIS_PYTHON, "-c", _BEGIN + text + _END],
            capture_output=True, text=True, timeout=SECONDS, env=environment, check=False,
        )  # fmt: skip
        lines = [line for line in done.stdout.splitlines() if line.startswith("ANSWER")]
        assert lines, done.stdout + done.stderr
        return json.loads(lines[-1].removeprefix("ANSWER"))
