"""The private parts of numba that name a kernel, and call one that cannot fail, in few words.

numba asks after each call whether and how it failed, in a dozen lines: most kernels cannot. And a kernel's
name tells all types of its arguments, a thousand letters where they are records.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from hashlib import blake2s
from typing import Any

from llvmlite import ir
from numba.core import cgutils
from numba.core.funcdesc import default_mangler
from numba.core.imputils import impl_ret_new_ref

DIGITS = 8  # bytes of a name's digest


def short_name(name: str, of_types: Sequence[Any], tags: Sequence[str], number: int | None) -> str:
    """Return a kernel's name in LLVM's text: its own, with a digest of the types of its arguments."""
    digest = blake2s(repr(of_types).encode(), digest_size=DIGITS).hexdigest()
    return default_mangler(name, (), abi_tags=(*tags, digest), uid=number)


def may_fail(function: Any) -> bool:
    """Return whether a kernel that is written may return anything but that all went well."""
    ends = (block.terminator for block in function.blocks)
    codes = (end.return_value for end in ends if isinstance(end, ir.instructions.Ret))
    return not all(isinstance(code, ir.Constant) and code.constant == 0 for code in codes)


def plain_call(lowered: Any, libraries: Iterable[Any]) -> Callable[..., Any]:
    """Return what writes a call of a kernel that cannot fail.

    lowered : numba's description of the kernel; libraries : to link where it is called
    """

    def write(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kernel = context.declare_function(builder.module, lowered)
        to, failure, *_ = kernel.args
        place = cgutils.alloca_once(builder, to.type.pointee)
        words = context.call_conv._get_arg_packer(lowered.argtypes).as_arguments(builder, arguments)
        mine = builder.function.args[1]  # where a failure would be told: never written to
        assert mine.type == failure.type
        builder.call(kernel, [place, mine, *words])
        found = context.get_returned_value(builder, lowered.restype, builder.load(place))
        return impl_ret_new_ref(context, builder, lowered.restype, found)

    write.signature = lowered.argtypes  # type: ignore[attr-defined]
    write.libs = tuple(libraries)  # type: ignore[attr-defined]
    return write
