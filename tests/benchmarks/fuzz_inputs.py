"""Damages input files at random for as long as asked, and lists each kind of fault once.

    .venv/bin/python tests/benchmarks/fuzz_inputs.py --minutes 30 --keep /tmp/faults

A fault is anything but passing or being refused in words; its files are kept for repeating. The same draws as
tests/test_fuzz_inputs.py, which stays under a minute.
"""

import argparse
import collections
import contextlib
import faulthandler
import itertools
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from damaged_inputs import damages
from fuzzed_inputs import judge, vary, write_everything
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

LONGEST_S = 120  # of one scenario; beyond it hangs


def where_it_failed(error):
    """Return the kind of an error and the last line of covermap it went through."""
    frames = [frame for frame in traceback.extract_tb(error.__traceback__) if "covermap" in frame.filename]
    last = frames[-1] if frames else None
    place = f"{Path(last.filename).name}:{last.lineno}" if last else "?"
    return f"{type(error).__name__} at {place}: {str(error)[:100]}"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "covermap_faults")
    asked = parser.parse_args()
    warnings.simplefilter("ignore")
    asked.keep.mkdir(parents=True, exist_ok=True)
    until = time.monotonic() + 60.0 * asked.minutes
    faults, counts, numbers = {}, collections.Counter(), itertools.count()

    with tempfile.TemporaryDirectory() as temporary:
        whole = Path(temporary) / "whole"
        whole.mkdir()
        write_everything(whole)

        @settings(
            max_examples=10**6, deadline=None, database=None, phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @given(data=st.data(), of_table=st.booleans(), of_canopy=st.booleans())
        def one(data, of_table, of_canopy):
            if time.monotonic() > until:
                raise KeyboardInterrupt
            folder = Path(temporary) / f"damaged{next(numbers)}"
            shutil.copytree(whole, folder)
            try:
                vary(folder, of_table=of_table, of_canopy=of_canopy)
                done = data.draw(damages(folder))
                (asked.keep / "now.txt").write_text(f"{folder} {done}")  # of one that hangs all stays there
                faulthandler.dump_traceback_later(LONGEST_S, exit=True)
                started = time.perf_counter()
                try:
                    counts["refused" if judge(folder / "scenario.toml") else "passed"] += 1
                except Exception as error:
                    counts["faults"] += 1
                    kind = where_it_failed(error)
                    if kind not in faults:
                        faults[kind] = done
                        shutil.copytree(folder, asked.keep / f"fault{len(faults)}", dirs_exist_ok=True)
                        print(f"fault{len(faults)}: {kind} after {done}", flush=True)
                counts["slowest_ms"] = max(counts["slowest_ms"], int(1e3 * (time.perf_counter() - started)))
            finally:
                faulthandler.cancel_dump_traceback_later()
                shutil.rmtree(folder, ignore_errors=True)

        with contextlib.suppress(KeyboardInterrupt):
            one()
    print(dict(counts), f"{len(faults)} kinds of fault, kept in {asked.keep}")


if __name__ == "__main__":
    main()
