"""Runs a `covermap` command while, at a stage of it, something else fills the disk.

python full_disk.py STAGE FREE_KB FOLDER map SCENARIO ...: from the first word of STAGE on, a file `ballast`
in FOLDER leaves FREE_KB on its disk. The command is the real one, and so is what the disk answers.
"""

import os
import sys
from contextlib import contextmanager
from pathlib import Path

import covermap.cli.map
from covermap.cli.main import main

CHUNK = bytes(4096)


def fill(folder, free_kb):
    """Write until no more than free_kb is left."""
    with open(folder / "ballast", "wb") as file:
        while os.statvfs(folder).f_bavail * os.statvfs(folder).f_frsize > 1000 * free_kb:
            file.write(CHUNK)
            file.flush()


def filling_at(stage, free_kb, folder):
    """Return what takes the place of the command's own progress."""

    @contextmanager
    def progress(_kind):
        def report(now, _done, _words=""):
            if now == stage and not (folder / "ballast").exists():
                fill(folder, free_kb)
            return True

        yield report

    return progress


if __name__ == "__main__":
    covermap.cli.map.progress_on_stderr = filling_at(sys.argv[1], float(sys.argv[2]), Path(sys.argv[3]))
    main(sys.argv[4:])
