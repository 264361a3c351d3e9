"""Compiling ahead compiles what runs use: the same types, and nothing when it is there already."""

import subprocess
from collections.abc import Iterator

import numpy as np

import covermap
from covermap.inputs.prepare import prepare
from covermap.jobs.compile_ahead import (
    compile_reception,
    is_compiled,
    reception_compiled_beside,
    start_python,
)
from covermap.reception.cells import receive_cells
from covermap.scenario import read_scenario
from tests.test_commands import COARSE, run, write_demo


def test_the_invented_scene_has_the_types_of_a_run(tmp_path):
    compile_reception()
    signatures = list(receive_cells.signatures)
    assert run("map", write_demo(tmp_path / "demo", COARSE), "--progress", "none").exit_code == 0
    assert list(receive_cells.signatures) == signatures


def arrays_of(record, name="") -> Iterator[tuple[str, np.ndarray]]:
    """Yield every array of a record of records, with where it stands."""
    if isinstance(record, np.ndarray):
        yield name, record
    elif isinstance(record, tuple):
        fields = getattr(record, "_fields", range(len(record)))
        for field, value in zip(fields, record, strict=True):
            yield from arrays_of(value, f"{name}.{field}")


def test_what_kernels_read_of_a_run_is_in_the_order_they_are_compiled_for(tmp_path):
    prepared = prepare(read_scenario(write_demo(tmp_path / "demo", COARSE)))
    receivers = [*prepared.receivers.values(), prepared.receiver_at_other_default]
    for receiver in receivers:
        strange = [name for name, array in arrays_of(receiver.model) if not array.flags.c_contiguous]
        assert strange == []


def test_no_process_is_started_for_kernels_that_are_compiled():
    compile_reception()
    assert is_compiled(receive_cells)
    with reception_compiled_beside() as compiling:
        assert compiling._process is None


def test_a_function_without_a_cache_counts_as_compiled():
    assert is_compiled(len)


def test_the_process_takes_this_package_and_not_one_in_the_current_folder(tmp_path, monkeypatch):
    (tmp_path / "covermap").mkdir()
    (tmp_path / "covermap" / "__init__.py").write_text("", "utf-8")
    monkeypatch.chdir(tmp_path)
    process = start_python("import covermap; print(covermap.__file__)", subprocess.PIPE)
    found, _ = process.communicate(timeout=60)
    assert found.decode().strip() == covermap.__file__
