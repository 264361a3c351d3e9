"""Items of arrays, loops and operators in kernels, written in few words: kernels find what Python finds.

Each case is one in which the short way could differ from Python's: an index from the end, a number of another
kind, an array that is not in order, a loop that ends before it begins. What is expected is Python's own run
of the same functions.
"""

import re

import numpy as np
import pytest
from told_elsewhere import told

from covermap.linked_kernels import is_linked
from covermap.propagation.compiling import inner_kernel, kernel, lean_kernel

PLACE = -2  # a number that is known when a kernel is compiled


@lean_kernel
def from_the_end(rows, cube, flags, places, few):
    found = 0.0
    for number in range(-3, 3):
        found = 10.0 * found + rows[number, -1] + rows[PLACE, number] - cube[number, -1, number]
    return found + rows[-3, 2] + cube[1, PLACE, 0]


@lean_kernel
def indexes_of_other_kinds(rows, cube, flags, places, few):
    found = 0.0
    for number in range(few.size):
        found = 3.0 * found + rows[places[number], few[number]] - cube[few[number], 0, places[number]]
    return found


@lean_kernel
def numbers_of_other_kinds(rows, cube, flags, places, few):
    places[0] = -1.75  # cut to -1
    cube[0, 0, 0] = 1.0 / 3.0  # of single precision
    few[1] = 259 - places[1]  # the last eight bits
    flags[1] = rows[0, 0] > 0.0
    flags[2] = 2
    found = 0.0
    for number in range(3):
        found = 5.0 * found + places[number] + cube[0, 0, number] + few[number]
        if flags[number]:
            found += 0.5
    return found


@lean_kernel
def written_and_read(rows, cube, flags, places, few):
    rows[-1, PLACE] = 7.25
    rows[PLACE, -1] += 1.5
    for number in range(3):
        rows[number, 0] = rows[0, number] * 2.0
        cube[number, number, PLACE] -= 1.0
    found = 0.0
    for number in range(3):
        found = 3.0 * found + rows[number, 0] + rows[2, number] + rows[1, number] + cube[number, number, 1]
    return found


@lean_kernel
def not_in_order(rows, cube, flags, places, few):
    turned, every_other = rows.T, rows[:, ::2]
    turned[2, 0] = 11.0
    every_other[1, 1] = -4.0
    found = 0.0
    for number in range(3):
        found = (
            4.0 * found + turned[number, 0] - turned[-1, number] + every_other[number, -1] + rows[number, 2]
        )
    return found


@lean_kernel
def loops(rows, cube, flags, places, few):
    found, number = 0.0, 100
    for number in range(rows.shape[1] + places[1] * 0):
        found = 2.0 * found + number
    for number in range(2, -2):
        found += 1000.0 * number
    found += number
    for number in range(5, 0, -2):
        found = 3.0 * found - number
    for number in range(0, 7, 3):
        found = 3.0 * found + number
    last = 4
    for number in range(1, last):
        last += 1
        if number == 2:
            continue
        for other in range(number, last):
            if other > 4:
                break
            found = found + number * other
        found = 1.5 * found + other
    return found + number + rows.size - cube.shape[2] * cube.size


@lean_kernel
def operators(rows, cube, flags, places, few):
    found = places[0] // places[1] + places[0] % places[1] - (places[0] ** 2) * 0.5
    found += rows[0, 0] // 0.3 + rows[0, 1] % -0.7 + rows[1, 1] ** 3
    found -= cube[0, 1, 1] * cube[1, 0, 1]
    found += (places[0] << 2) + (places[2] >> 1) + (places[1] & 6) + (places[0] ^ 5) + few[0] * few[1]
    found *= places[1]
    found /= 4
    return found + (rows[0, 0] < 1) + (places[0] <= few[0]) + (cube[0, 0, 0] != 2)


@inner_kernel
def weighed(row, number, rows, times):
    if times:
        return rows[row, number] * 3.0
    return rows[number, row] - number


@lean_kernel
def known_numbers(rows, cube, flags, places, few):
    found = weighed(0, 1, rows, True) + 10.0 * weighed(PLACE, 2, rows, False)
    for number in range(3):
        found += weighed(1, number, rows, True)
        found -= weighed(number, 0, rows, False) * weighed(number, number, rows, True)
    return found


@lean_kernel
def only_sometimes_set(rows, cube, flags, places, few):
    before, found = 0, 0.0
    for number in range(3):
        if flags[number]:
            before = places[number]
            there = rows[number, 0]
        if before > 0:
            found = 2.0 * found + before * there
    return found


@lean_kernel
def function_inside(rows, cube, flags, places, few):
    def twice(number):
        return 2.0 * number + rows[0, 0]

    return twice(rows[0, 1]) - twice(rows[1, 0])


@kernel
def counted(rows, cube, flags, places, few):
    made = rows + 1.0
    for number in range(3):
        made[number, -1] = cube[number, 0, 0]
        if number == 1:
            made = made * 2.0
    kept = [made[number, number] for number in range(made.shape[0])]
    return made[-1, 0] + made[0, 2] * kept[1] + len(kept)


CASES = (
    from_the_end,
    indexes_of_other_kinds,
    numbers_of_other_kinds,
    written_and_read,
    not_in_order,
    loops,
    operators,
    known_numbers,
    only_sometimes_set,
    function_inside,
    counted,
)


def arrays_of(seed):
    """Return arrays of several kinds, of numbers that no two cases share."""
    draw = np.random.default_rng(seed)
    return (
        draw.uniform(-5.0, 5.0, (3, 3)),
        draw.uniform(-5.0, 5.0, (3, 3, 3)).astype(np.float32),
        np.array([True, False, True]),
        np.array([2, 1, -3], np.int32),
        np.array([0, 2, 1], np.uint8),
    )


def found_in_all():
    """Return what each case finds for three sets of arrays, and what it left in them."""
    found = []
    for case in CASES:
        for seed in range(3):
            arrays = arrays_of(seed)
            answer = float(case(*arrays))
            found.append([answer, *(float(array.sum(dtype=np.float64)) for array in arrays)])
    return found


def text_of_loops():
    """Return the text of LLVM that a case is written as, in front of its optimiser."""
    from numba.core.codegen import CPUCodeLibrary

    written, add = [], CPUCodeLibrary.add_ir_module

    def noting(library, module):
        written.append(str(module))
        return add(library, module)

    CPUCodeLibrary.add_ir_module = noting
    written_and_read(*arrays_of(1))
    return written


@pytest.mark.slow
def test_kernels_find_in_arrays_what_python_finds():
    by_python = told(__name__, "here.found_in_all()", NUMBA_DISABLE_JIT="1")
    assert len({tuple(found) for found in by_python}) == len(by_python)
    np.testing.assert_allclose(found_in_all(), by_python, rtol=1e-6)


@pytest.mark.slow
def test_plain_kernels_find_the_same_to_the_last_bit():
    assert told(__name__, "here.found_in_all()", COVERMAP_PLAIN_KERNELS="1") == found_in_all()


@pytest.mark.slow
@pytest.mark.skipif(not is_linked(), reason="kernels are compiled as numba does it here")
def test_an_item_is_an_address(tmp_path):
    written = told(__name__, "here.text_of_loops()", NUMBA_CACHE_DIR=str(tmp_path))
    (text,) = [text for text in written if re.search(r"define i32 .*written_and_read", text)]
    items = 17  # in the text of the case
    assert text.count("getelementptr") < 4 * items
    assert text.count("store {") < items  # no array is put elsewhere to be read there
