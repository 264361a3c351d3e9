"""Records of arrays in kernels: read where they stand, and every kernel finds what Python finds.

A record that a kernel hands on is not copied, so each case is one in which an address could be mistaken for
the value: of another record, of one that changed hands since, or of one that is no longer there. What is
expected is Python's own run of the same functions.
"""

import re
from typing import NamedTuple

import numpy as np
import pytest
from told_elsewhere import told

from covermap.linked_kernels import is_linked
from covermap.propagation.compiling import inner_kernel, kernel, lean_kernel


class Levels(NamedTuple):
    """A record of arrays."""

    first: np.ndarray
    second: np.ndarray


class Home(NamedTuple):
    """A record with records in it."""

    inner: Levels
    outer: Levels
    offset: float


class Sum(NamedTuple):
    """A record of few words, which stays in registers."""

    all_of_it: float
    count: int


@inner_kernel
def total(levels, times):
    found = 0.0
    for number in range(levels.first.size):
        found += times * levels.first[number] + levels.second[number]
    return found


@lean_kernel
def total_inside(home):
    return total(home.inner, 1.0) - 2.0 * total(home.outer, 3.0) + home.offset


@inner_kernel
def chosen(home, number):
    levels = home.inner
    if number % 2 == 1:
        levels = home.outer
    return total(levels, 1.0)


@inner_kernel
def counted(levels):
    return Sum(total(levels, 1.0), levels.first.size)


@inner_kernel
def as_they_were(home):
    return home.inner


@lean_kernel
def handed_on(home):
    return total_inside(home)


@lean_kernel
def one_of_two(home):
    found = 0.0
    for number in range(4):
        found = 10.0 * found + chosen(home, number)
    return found


@lean_kernel
def taking_turns(home):
    now, before = home.inner, home.outer
    found = 0.0
    for _ in range(3):
        found = 10.0 * found + total(now, 1.0) - 3.0 * total(before, 1.0)
        now, before = before, now
    return found


@lean_kernel
def kept_from_the_round_before(home):
    made = Levels(home.inner.first, home.outer.second)
    found = 0.0
    for number in range(3):
        before = made
        made = Levels(home.outer.first, home.inner.first) if number == 1 else made
        found = 10.0 * found + total(before, 2.0) - 3.0 * total(made, 1.0)
    return found


@lean_kernel
def same_record_twice(home):
    return weighed(home, home.inner, home.inner)


@inner_kernel
def weighed(home, one, other):
    return total(one, 1.0) - 2.0 * total(home.inner, 3.0) + 5.0 * total(other, 7.0)


@lean_kernel
def written_between(home):
    before = total(home.inner, 1.0)
    levels = home.inner
    for number in range(levels.first.size):
        home.inner.first[number] += 1.0
        levels.second[number] *= 2.0
    return before + 100.0 * total(home.inner, 1.0) + total(levels, 1.0)


@lean_kernel
def given_back(home):
    found = counted(home.inner)
    return found.all_of_it + total(as_they_were(home), 1.0) * found.count


@lean_kernel
def only_sometimes(home):
    found = home.offset
    if home.offset > 0.0:
        levels = home.outer
        for _ in range(2):
            found += total(levels, 1.0)
    return found


@kernel
def with_counted_references(home):
    levels = home.inner
    made = Levels(levels.first + 1.0, levels.second.copy())
    found = total_made(made)
    made = Levels(made.second, made.first * 2.0)
    return found + 10.0 * total_made(made) + total_made(levels)


@kernel
def total_made(levels):
    return levels.first.sum() - 3.0 * levels.second.sum()


CASES = (
    handed_on,
    one_of_two,
    taking_turns,
    kept_from_the_round_before,
    same_record_twice,
    written_between,
    given_back,
    only_sometimes,
    with_counted_references,
)


def home_of(seed):
    """Return a record of numbers that no two members share."""
    values = np.random.default_rng(seed).uniform(-5.0, 5.0, (4, 3))
    return Home(Levels(values[0].copy(), values[1].copy()), Levels(values[2].copy(), values[3].copy()), 1.5)


def found_in_all():
    """Return what each case finds in three records."""
    return [[float(case(home_of(seed))) for seed in range(3)] for case in CASES]


def text_of_handed_on():
    """Return the text of LLVM that the first case is compiled to."""
    handed_on(home_of(1))
    (text,) = handed_on.inspect_llvm().values()
    return text


@pytest.fixture(scope="module")
def found_by_python():
    """Return found_in_all() of a process that compiles nothing."""
    return told(__name__, "here.found_in_all()", NUMBA_DISABLE_JIT="1")


@pytest.mark.slow
def test_kernels_find_in_records_what_python_finds(found_by_python):
    assert len({tuple(found) for found in found_by_python}) == len(CASES)
    np.testing.assert_allclose(found_in_all(), found_by_python, rtol=1e-12)


@pytest.mark.slow
@pytest.mark.skipif(not is_linked(), reason="kernels are compiled as numba does it here")
def test_a_record_is_one_argument_however_many_arrays_are_in_it(tmp_path):
    # numba shows no text of a kernel that it read from a cache
    text = told(__name__, "here.text_of_handed_on()", NUMBA_CACHE_DIR=str(tmp_path))
    (head,) = [
        line
        for line in text.splitlines()
        if line.startswith("define") and "handed_on" in line and "cpython" not in line and "cfunc" not in line
    ]
    assert len(re.findall(r"\bptr\b", head)) == 3  # where the answer goes, where an error goes, the record
