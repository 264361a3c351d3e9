"""The private parts of numba that covermap.linked_kernels needs: libraries, compilers, flags and a pass."""

from __future__ import annotations

import gc
from collections.abc import Callable
from functools import partial
from typing import Any, ClassVar

import numba
from llvmlite.binding import Linkage
from numba.core import types
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import Compiler, CompilerBase, Flags, _LowerResult
from numba.core.compiler_machinery import LoweringPass, register_pass

from covermap.numba_calls import plain_call
from covermap.numba_passes import passes_for
from covermap.numba_records import with_records
from covermap.numba_typing import with_memory

NOT_OF_A_TWIN = ("cache", "inline")  # options of a kernel that say nothing about its text


class KernelLibrary(JITCodeLibrary):
    """A kernel's code."""

    def _optimize_functions(self, ll_module: Any) -> None:
        """Optimise the functions of a module one by one; those of others are declared there by the dozen."""
        ll_module.data_layout = self._codegen._data_layout
        for function in ll_module.functions:
            if not function.is_declaration:
                passes, builder = self._codegen._function_pass_manager()
                passes.run(function, builder)


class LinkedLibrary(KernelLibrary):
    """A kernel's own code, to be linked into its callers: neither optimised as a whole nor made native.

    may_fail : whether a call of it may end with an error
    """

    may_fail = True

    def finalize(self) -> None:
        """Close the library without optimising or compiling it."""
        self._raise_if_finalized()
        self._finalize_dynamic_globals()
        for function in self._final_module.functions:
            if not function.is_declaration and function.linkage == Linkage.external:
                # not linkonce, which is left out where nothing that was linked so far calls it
                function.linkage = "weak_odr"
        self._finalized = True

    def _get_module_for_linking(self) -> Any:
        self._ensure_finalized()
        return self._final_module

    def get_pointer_to_function(self, name: str) -> int:
        """Return 0: there is no machine code to point to."""
        return 0


class EntryLibrary(KernelLibrary):
    """A kernel that Python calls: what it links becomes its own, so that no symbol stands in two modules."""

    def _optimize_final_module(self) -> None:
        for function in self._final_module.functions:
            # else a call of a symbol that another module dropped goes to address 0
            if not function.is_declaration and function.linkage in (Linkage.linkonce_odr, Linkage.weak_odr):
                function.linkage = "internal"
        super()._optimize_final_module()


def with_room(function: Callable[..., Any], *arguments: Any) -> Any:
    """Return function(*arguments), called where half a megabyte is free on Python's own stack of frames.

    From 3.11 on that stack is in pieces of 16 kB, and one is mapped and unmapped at each call across an end:
    the compiler, which calls deeply, spent a sixth of its time there. A piece is as large as the frame that
    asks for it needs, so a frame that says it needs much leaves room for all that it calls.
    """
    return function(*arguments)


with_room.__code__ = with_room.__code__.replace(co_stacksize=70_000)


class KernelFlags(Flags):
    """numba's flags of a compilation, compared in two steps of Python's own in place of one for each flag.

    Inference of types looks up what it found for the same flags, 60,000 times for reception's kernels.
    """

    __slots__ = ()
    _defaults: ClassVar[dict[str, Any]] = {name: option.default for name, option in Flags.options.items()}
    _hash: ClassVar[int] = hash(Flags())

    def __hash__(self) -> int:
        return self._hash  # numba's own is of the names of all flags

    def __eq__(self, other: object) -> bool:
        return super().__eq__(other)

    def values(self) -> dict[str, Any]:
        """Return every flag and its value."""
        return self._defaults | self._values


class EntryCompiler(Compiler):
    """numba's compiler, with an EntryLibrary, room on the stack and few searches for unused objects.

    The compiler makes many small objects that live long: looking for cycles among them takes a tenth of it.
    """

    def __init__(self, typingctx, targetctx, library, args, return_type, flags, locals):
        super().__init__(typingctx, targetctx, library, args, return_type, KernelFlags(flags), locals)
        self.state.typingctx = with_memory(self.state.typingctx)
        self.state.targetctx = with_records(self.state.targetctx)
        self.state.library = EntryLibrary(targetctx.codegen(), f"entry_{len(args)}")
        self.state.library.enable_object_caching()

    def define_pipelines(self) -> list[Any]:
        """Return the passes of a kernel."""
        return [passes_for(self.state)]

    def compile_extra(self, func: Any) -> Any:
        """Return the compiled kernel; all that it links is compiled within."""
        before = gc.get_threshold()
        gc.set_threshold(100_000, 50, 1000)
        try:
            return with_room(super().compile_extra, func)
        finally:
            gc.set_threshold(*before)


@register_pass(mutates_CFG=True, analysis_only=False)
class ForCallers(LoweringPass):
    """Makes a twin known to its callers, with every library that they must link for it."""

    _name = "covermap_for_callers"

    def __init__(self) -> None:
        LoweringPass.__init__(self)

    def run_pass(self, state: Any) -> bool:
        """Insert the twin under a key of its own in place of a compiled function."""
        library, lowered = state.library, state["cr"]
        key = object()
        needed = dict.fromkeys((library, *library._linking_libraries))
        if library.may_fail:
            state.targetctx.insert_user_function(key, lowered.fndesc, list(needed))
        else:
            state.targetctx._defns[key].append(plain_call(lowered.fndesc, needed), lowered.fndesc.argtypes)
        state.reload_init.extend(library._reload_init)
        state["cr"] = _LowerResult(lowered.fndesc, lowered.call_helper, cfunc=key, env=lowered.env)
        return True


class TwinCompiler(CompilerBase):
    """numba's compiler without its last step."""

    def __init__(self, typingctx, targetctx, library, args, return_type, flags, locals):
        flags.no_compile = True
        flags.no_cpython_wrapper = True
        flags.no_cfunc_wrapper = True
        super().__init__(typingctx, targetctx, library, args, return_type, KernelFlags(flags), locals)
        self.state.typingctx = with_memory(self.state.typingctx)
        self.state.targetctx = with_records(self.state.targetctx)
        self.state.library = LinkedLibrary(targetctx.codegen(), f"twin_{len(args)}")

    def define_pipelines(self) -> list[Any]:
        """Return the passes of a kernel with ForCallers behind the writing of the text."""
        return [passes_for(self.state, ForCallers)]


def with_twin(decorate: Any, options: dict[str, Any], function: Any) -> Any:
    """Return a kernel that Python calls as ever, and that other kernels link."""
    kernel = decorate(function)
    kept = {key: value for key, value in options.items() if key not in NOT_OF_A_TWIN}
    twin = numba.njit(**kept, pipeline_class=TwinCompiler)(function)
    twin.compile = partial(_compile_twin, twin)
    twin.get_call_template = partial(_template_for_any_number, twin.get_call_template, {})
    kernel._compiler.pipeline_class = EntryCompiler
    kernel.twin = twin
    kernel.get_call_template = twin.get_call_template
    kernel.get_overload = twin.get_overload
    return kernel


def _template_for_any_number(template: Any, found: dict[Any, Any], args: Any, kws: Any) -> Any:
    """Return what types a call: a number or a yes that is known as one that is not: one kernel serves both.

    found : what was asked before
    """
    known = types.IntegerLiteral, types.BooleanLiteral
    general = tuple(types.unliteral(each) if isinstance(each, known) else each for each in args)
    if kws:
        return template(general, kws)
    if general not in found:
        found[general] = template(general, kws)
    return found[general]


def _compile_twin(twin: Any, args: Any) -> None:
    """Compile a twin for some types if it was not; there is nothing that Python could call."""
    if args not in twin.overloads:
        compiled = twin._compiler.compile(args, None)
        twin.overloads[tuple(compiled.signature.args)] = compiled
