"""The private parts of numba that remember which types an operator or a plain function takes and gives.

Inference of types asks for each sum, comparison and item again at every round and in every kernel, and numba
goes through all it knows of the operator each time.
"""

from __future__ import annotations

import copy
import operator
from functools import cache
from typing import Any, ClassVar

from numba.core import types
from numba.core.typing import Context
from numba.core.typing.templates import Signature

ITEM, NEXT = operator.getitem, ("getiter", "iternext")
PYTHONS_OWN = ("_operator", "builtins", "math")  # modules of operators, of min and max, of sqrt
PLAIN = (types.Integer, types.Float, types.Boolean, types.Array, types.RangeType, types.RangeIteratorType)


class RememberingContext(Context):
    """numba's context of types; what Python's own functions give for numbers and arrays is found once."""

    _found: ClassVar[dict[Any, Signature]] = {}

    def resolve_function_type(self, func: Any, args: Any, kws: Any) -> Any:
        """Return the signature of a call."""
        if kws or not _is_pythons(func) or not all(map(_is_plain, args)):
            return super().resolve_function_type(func, args, kws)
        # an index is whole numbers, whether known ones or not
        known = types.BaseTuple if func is not ITEM else (types.BaseTuple, types.IntegerLiteral)
        general = [types.unliteral(each) if isinstance(each, known) else each for each in args]
        asked = func, tuple(general)
        if asked not in self._found:
            self._found[asked] = super().resolve_function_type(func, general, kws)
        return self._found[asked]


@cache
def with_memory(context: Context) -> Context:
    """Return a context as it is that remembers: one for all kernels.

    numba compiles its own functions, such as max, once for each context.
    """
    mine = copy.copy(context)
    mine.__class__ = RememberingContext
    return mine


def _is_pythons(func: Any) -> bool:
    """Return whether something is an operator or a function of Python's own."""
    if func is ITEM or func in NEXT:
        return True
    return isinstance(func, types.Function) and getattr(func.typing_key, "__module__", "") in PYTHONS_OWN


def _is_plain(of_type: Any) -> bool:
    """Return whether a type is a number, an array, or an index of several numbers."""
    members: Any = of_type
    if isinstance(of_type, types.UniTuple | types.Tuple):
        return all(isinstance(each, types.Integer) for each in members)
    return isinstance(of_type, PLAIN)
