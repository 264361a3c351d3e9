"""Calls of kernels by kernels, in few words: what is returned comes back, and what fails is told.

What is expected is Python's own run of the same functions.
"""

import pytest
from told_elsewhere import told

from covermap.linked_kernels import is_linked
from covermap.propagation.compiling import inner_kernel, kernel

STEPS = (1.5, -2.25, 4.0)


@inner_kernel
def step(number):
    return STEPS[number]  # fails beyond the last


@inner_kernel
def step_below(number):
    return step(number - 1)


@inner_kernel
def halved(value):
    return 0.5 * value  # cannot fail


@inner_kernel
def halves(value, doubled):
    return halved(value), 2.0 * value if doubled else halved(halved(value))


@kernel
def step_of(number):
    return halved(step_below(number))


@kernel
def of_either_kind(value, twice):
    """Return numbers of calls with a yes that is known and one that is not."""
    found = 0.0
    for _ in range(3):
        first, second = halves(value, True)
        third, fourth = halves(found, False)
        fifth, sixth = halves(value, twice)
        found = found + first + 3.0 * second + 5.0 * third + 7.0 * fourth + 11.0 * fifth + 13.0 * sixth
    return found


@kernel
def turned_into_another(value):
    """Return what a variable ends as that begins as a whole number."""
    found, seen = 0, False
    for number in range(4):
        if found > value:
            seen = number > 2
        found = halved(found) + value if seen else found + number
    return found


def found_in_all():
    """Return what each call finds, or how it fails."""
    found = [of_either_kind(value, twice) for value in (0.1, -3.75) for twice in (False, True)]
    found += [turned_into_another(value) for value in (0.25, 1.75, 5.5)]
    for number in (1, 2, 3, 4, 9, -3):
        try:
            found.append(step_of(number))
        except IndexError:
            found.append("IndexError")
    return found


def variants():
    """Return for how many kinds of arguments a kernel was compiled."""
    of_either_kind(1.5, True)
    return [len(each.twin.overloads) for each in (halves, halved)]


@pytest.mark.slow
def test_kernels_find_and_fail_as_python_does():
    by_python = told(__name__, "here.found_in_all()", NUMBA_DISABLE_JIT="1")
    assert by_python.count("IndexError") == 3
    assert found_in_all() == by_python


@pytest.mark.slow
def test_plain_kernels_find_and_fail_in_the_same_way():
    assert told(__name__, "here.found_in_all()", COVERMAP_PLAIN_KERNELS="1") == found_in_all()


@pytest.mark.slow
@pytest.mark.skipif(not is_linked(), reason="kernels are compiled as numba does it here")
def test_a_yes_that_is_known_makes_no_kernel_of_its_own(tmp_path):
    assert told(__name__, "here.variants()", NUMBA_CACHE_DIR=str(tmp_path)) == [1, 1]


@pytest.mark.slow
@pytest.mark.skipif(not is_linked(), reason="kernels are compiled as numba does it here")
def test_a_call_of_what_cannot_fail_asks_nothing(tmp_path):
    text = told(__name__, "here.text_of_a_call()", NUMBA_CACHE_DIR=str(tmp_path))
    assert text.count("call i32") == 2  # of one that may fail, and one that cannot
    assert text.count("icmp eq i32") == 4  # of the first: how did it end?
    assert text.count("br i1") == 2


def text_of_a_call():
    """Return the text of LLVM of a kernel that calls two others."""
    from numba.core.codegen import CPUCodeLibrary

    written, add = [], CPUCodeLibrary.add_ir_module

    def noting(library, module):
        written.append(str(module))
        return add(library, module)

    CPUCodeLibrary.add_ir_module = noting
    step_of(2)
    (text,) = [text for text in written if "step_of" in text and "cpython" not in text]
    return text
