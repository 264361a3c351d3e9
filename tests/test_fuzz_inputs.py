"""Files damaged at random are read or refused in words; tests/benchmarks/fuzz_inputs.py goes on longer."""

import itertools
import shutil
import time

import pytest
from damaged_inputs import damages
from fuzzed_inputs import judge, vary, write_everything
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

LONGEST_S = 40.0  # so that all of this file stays under a minute
AT_ONCE = 10  # scenarios between two looks at the clock

numbers = itertools.count()


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A folder with an undamaged scenario."""
    folder = tmp_path_factory.mktemp("whole")
    write_everything(folder)
    return folder


@pytest.mark.parametrize("of_table", [False, True])
@pytest.mark.parametrize("of_canopy", [False, True])
def test_the_undamaged_scenario_passes(whole, tmp_path, of_table, of_canopy):
    folder = tmp_path / "varied"
    shutil.copytree(whole, folder)
    vary(folder, of_table=of_table, of_canopy=of_canopy)
    assert judge(folder / "scenario.toml") == ""


@pytest.mark.slow
def test_damaged_files_are_read_or_refused_in_words(whole, tmp_path):
    @settings(
        max_examples=AT_ONCE, deadline=None, database=None, print_blob=True,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(data=st.data(), of_table=st.booleans(), of_canopy=st.booleans())
    def some(data, of_table, of_canopy):
        folder = tmp_path / f"damaged{next(numbers)}"
        shutil.copytree(whole, folder)
        try:
            vary(folder, of_table=of_table, of_canopy=of_canopy)
            data.draw(damages(folder), label="damaged")
            judge(folder / "scenario.toml")
        finally:
            shutil.rmtree(folder)

    started = time.monotonic()
    while time.monotonic() - started < LONGEST_S:
        some()
    assert next(numbers) >= AT_ONCE
