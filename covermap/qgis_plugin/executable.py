"""Finds the covermap command, and tries it. Pure Python: QGIS settings are handed in."""

import os
import shutil
import subprocess
import sys

SETTING = "covermap/executable"
VARIABLE = "COVERMAP_EXECUTABLE"
# a first start reads much from disk (judgement)
TRY_SECONDS = 60
NO_WINDOW = 0x08000000 if sys.platform == "win32" else 0
"""Keeps a console window from opening on Windows."""

# QGIS sets these for its own libraries; the command brings its own
NOT_FOR_THE_COMMAND = (
    "PYTHONHOME",
    "PYTHONPATH",
    "GDAL_DATA",
    "GDAL_DRIVER_PATH",
    "PROJ_LIB",
    "PROJ_DATA",
)


class ExecutableError(Exception):
    """The command is missing or does not work; the text says what to do."""


def find_executable(setting, environment=None):
    """Return the path of the command: of the plugin's setting, else COVERMAP_EXECUTABLE, else PATH.

    setting : what the plugin's option holds, may be empty
    environment : variables, default those of this process

    Raises ExecutableError when none is found, or a named one is not there.
    """
    environment = os.environ if environment is None else environment
    for place, named in (
        ("Settings, Options, covermap", setting),
        (f"the environment variable {VARIABLE}", environment.get(VARIABLE)),
    ):
        if named and named.strip():
            found = shutil.which(named.strip(), path=environment.get("PATH"))
            if found:
                return found
            # A place that is named and wrong is an error: going on to the next would run another covermap
            # than was meant.
            raise ExecutableError(
                f"{place} names {named.strip()!r}, which is not there or may not be run. "
                "Correct it: the full path of the covermap command."
            )
    found = shutil.which("covermap", path=environment.get("PATH"))
    if found:
        return found
    raise ExecutableError(
        "The covermap command was not found: no path is set under Settings, Options, covermap, "
        f"{VARIABLE} is not set, and PATH holds no covermap. Install covermap, then name its command in one "
        "of the three."
    )


def try_executable(path):
    """Return what the command answers to --version. Raises ExecutableError if it does not work."""
    try:
        done = subprocess.run(
            [path, "--version"],
            capture_output=True,
            text=True,
            timeout=TRY_SECONDS,
            env=command_environment(),
            check=False,
            creationflags=NO_WINDOW,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise ExecutableError(f"{path} could not be started: {error}") from error
    answer = done.stdout.strip()
    if done.returncode != 0 or not answer.startswith("covermap"):
        faults = done.stderr.strip().splitlines()
        said = answer or (faults[-1] if faults else "nothing")  # the last line: what stands before is a trace
        raise ExecutableError(f"{path} is not the covermap command: it answered {said!r} to --version.")
    return answer


def command_environment(environment=None):
    """Return the variables the command starts with, without those that are QGIS's own."""
    environment = os.environ if environment is None else environment
    kept = {name: value for name, value in environment.items() if name not in NOT_FOR_THE_COMMAND}
    # PYTHONUTF8: on Windows a pipe would be in the local code page, and _start() reads UTF-8.
    return {**kept, "PYTHONUTF8": "1"}
