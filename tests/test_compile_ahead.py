"""Compiling ahead compiles what runs use: the same types, and nothing when it is there already."""

import subprocess
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

import covermap
from covermap.inputs.prepare import prepare
from covermap.jobs.compile_ahead import compile_sets, compiled_beside, is_compiled
from covermap.jobs.compiling_processes import begin_compiling, start_python
from covermap.jobs.kernel_sets import SETS
from covermap.kernel_cache import compiling, is_being_compiled, is_ready
from covermap.scenario import read_scenario
from tests.test_commands import COARSE, run, write_demo


def signatures():
    """Return what each set's kernel is compiled for in this process."""
    return {name: list(one.kernel.signatures) for name, one in SETS.items()}


def test_the_invented_scenes_have_the_types_of_a_run(tmp_path):
    for one in SETS.values():
        one.call()
    before = signatures()
    assert all(len(found) == 1 for found in before.values())
    assert run("map", write_demo(tmp_path / "demo", COARSE), "--progress", "none").exit_code == 0
    assert signatures() == before


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
    compile_sets(list(SETS))
    assert all(is_compiled(one.kernel) for one in SETS.values())
    with compiled_beside(list(SETS)) as beside:
        assert beside._process is None
    assert is_ready()
    assert not begin_compiling()


def test_a_set_is_compiled_by_one_process_at_a_time():
    ask = "from covermap.kernel_cache import is_being_compiled; print(is_being_compiled('paths'))"
    assert not is_being_compiled("paths")
    with compiling("paths"):
        held, _ = start_python(ask, subprocess.PIPE).communicate(timeout=60)
    free, _ = start_python(ask, subprocess.PIPE).communicate(timeout=60)
    assert (held.decode().strip(), free.decode().strip()) == ("True", "False")


def test_who_waits_for_a_set_finds_it_compiled(monkeypatch):
    """Another process compiles a set; the one that waited for it calls nothing."""
    called = []
    answers = iter([False, True, True, True, True, True])
    monkeypatch.setattr("covermap.jobs.compile_ahead.is_compiled", lambda kernel: next(answers))
    monkeypatch.setitem(SETS, "paths", replace(SETS["paths"], call=lambda: called.append("paths")))
    compile_sets(["paths"])
    assert called == []


def test_a_function_without_a_cache_counts_as_compiled():
    assert is_compiled(len)


def test_the_process_takes_this_package_and_not_one_in_the_current_folder(tmp_path, monkeypatch):
    (tmp_path / "covermap").mkdir()
    (tmp_path / "covermap" / "__init__.py").write_text("", "utf-8")
    monkeypatch.chdir(tmp_path)
    process = start_python("import covermap; print(covermap.__file__)", subprocess.PIPE)
    found, _ = process.communicate(timeout=60)
    assert found.decode().strip() == covermap.__file__
