"""Kernels called from kernels: written as LLVM's text, and optimised once, inside the kernel Python calls.

numba makes each kernel to machine code of its own, and again inside each of its callers: nine calls deep,
most code is compiled nine times. Only kernels that Python calls need machine code. So each kernel here is
two: the one that Python calls, and a twin for other kernels to link, which is parsed, typed and written as
text.

This takes private parts of numba, so it is done for the versions it was tried with (LINKED_WITH) and nowhere
else: with another version, or where one of the parts is missing, kernels are compiled as numba does it, to
the same numbers, in twice the time. COVERMAP_PLAIN_KERNELS=1 asks for that. What it saves, and what else was
tried: docs/decisions/compiling_once.md.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import partial
from typing import Any

import numba

LINKED_WITH = ("0.68",)  # major and minor versions of numba
Decorator = Callable[[Any], Any]


def is_linked() -> bool:
    """Return whether kernels link each other's text here."""
    config: Any = numba.config
    plain = os.environ.get("COVERMAP_PLAIN_KERNELS") == "1" or config.DISABLE_JIT
    return not plain and _parts is not None


def with_twin(decorate: Decorator, options: dict[str, Any]) -> Decorator:
    """Return a decorator whose kernels other kernels link instead of calling.

    decorate : numba.njit(**options), with its cache
    """
    if not is_linked():
        return decorate
    return partial(_parts.with_twin, decorate, options)


def _import_parts() -> Any:
    """Return covermap.numba_linking; None where this numba is another than those it was tried with."""
    if ".".join(numba.__version__.split(".")[:2]) not in LINKED_WITH:
        return None
    try:
        from covermap import numba_linking
    except (ImportError, AttributeError):
        return None
    return numba_linking


_parts: Any = _import_parts()
