"""The private parts of numba that compile a kernel in as few passes as it takes.

numba's own pipeline serves generators, closures, lists and objects that are counted, and finds out nine times
over how long each variable lives: a sixth of what Python does while it compiles. A kernel that counts no
references, and has no function of its own inside, needs none of that.
"""

from __future__ import annotations

from functools import cache
from types import CodeType
from typing import Any

from numba.core.compiler import DefaultPassBuilder
from numba.core.compiler_machinery import FunctionPass, PassManager, _pass_registry, register_pass
from numba.core.ir_utils import build_definitions
from numba.core.ssa import reconstruct_ssa
from numba.core.transforms import canonicalize_cfg
from numba.core.typed_passes import (
    AnnotateTypes,
    NativeLowering,
    NoPythonBackend,
    PreLowerStripPhis,
)
from numba.core.untyped_passes import (
    DeadBranchPrune,
    FixupArgs,
    GenericRewrites,
    InlineInlinables,
    ReconstructSSA,
    RewriteDynamicRaises,
    RewriteSemanticConstants,
    TranslateByteCode,
)

from covermap.numba_inference import InferTypes
from covermap.numba_records import RecordLowering


@register_pass(mutates_CFG=True, analysis_only=False)
class OneBackEdge(FunctionPass):
    """Gives every loop one edge back, as all later passes expect."""

    _name = "covermap_one_back_edge"

    def __init__(self) -> None:
        FunctionPass.__init__(self)

    def run_pass(self, state: Any) -> bool:
        """Rewrite the blocks."""
        state.func_ir.blocks = canonicalize_cfg(state.func_ir.blocks)
        return True


@register_pass(mutates_CFG=True, analysis_only=False)
class SingleAssignments(ReconstructSSA):
    """Gives every assignment a variable of its own."""

    _name = "covermap_single_assignments"

    def run_pass(self, state: Any) -> bool:
        """Rewrite the blocks; how long variables live is not asked."""
        state.func_ir = reconstruct_ssa(state.func_ir)
        self._patch_locals(state)
        state.func_ir._definitions = build_definitions(state.func_ir.blocks)
        return True


@register_pass(mutates_CFG=True, analysis_only=False)
class WithoutPhis(PreLowerStripPhis):
    """Puts assignments in the place of phis."""

    _name = "covermap_without_phis"

    def run_pass(self, state: Any) -> bool:
        """Rewrite the blocks; how long variables live is not asked."""
        state.func_ir = self._strip_phi_nodes(state.func_ir)
        return True


LEAN = (
    TranslateByteCode,
    FixupArgs,
    OneBackEdge,
    RewriteSemanticConstants,
    DeadBranchPrune,
    GenericRewrites,
    RewriteDynamicRaises,
    InlineInlinables,
    SingleAssignments,
    DeadBranchPrune,
    InferTypes,
    WithoutPhis,
    AnnotateTypes,
    RecordLowering,
    NoPythonBackend,
)


class KernelPasses(PassManager):
    """numba's list of passes, run without their events, timings and checks."""

    def __init__(self) -> None:
        super().__init__("kernel")

    def run(self, state: Any) -> None:
        """Run the passes one after the other."""
        for step, _ in self.passes:
            one = _pass_registry.get(step).pass_inst
            one.analysis = self._analysis
            one.run_initialization(state)
            one.run_pass(state)
            one.run_finalizer(state)


@cache
def lean_passes(*behind: Any) -> KernelPasses:
    """Return the passes of kernels that count no references; behind : passes behind the writing of text."""
    passes = KernelPasses()
    for step in LEAN:
        passes.add_pass(step, step.__name__)
    return _with(passes, behind)


def passes_for(state: Any, *behind: Any) -> PassManager:
    """Return the passes that compile a kernel, its lowering ours."""
    if _is_lean(state):
        return lean_passes(*behind)
    passes = PassManager("kernel")
    for step, told in DefaultPassBuilder.define_nopython_pipeline(state).passes:
        passes.add_pass(RecordLowering if step is NativeLowering else step, told)
    return _with(passes, behind)


def _with(passes: Any, behind: Any) -> Any:
    """Return passes with some more behind the writing of text."""
    for step in behind:
        passes.add_pass_after(step, RecordLowering)
    passes.finalize()
    return passes


def _is_lean(state: Any) -> bool:
    """Return whether a kernel counts no references and has no function inside."""
    inside = (constant for constant in state.func_id.code.co_consts if isinstance(constant, CodeType))
    return not state.flags.nrt and not state.flags.debuginfo and next(inside, None) is None
