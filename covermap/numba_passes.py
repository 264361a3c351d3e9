"""The private parts of numba that compile a kernel in as few passes as it takes.

numba's own pipeline serves generators, closures, lists and objects that are counted, and finds out nine times
over how long each variable lives: a sixth of what Python does while it compiles. A kernel that counts no
references, and has no function of its own inside, needs none of that.
"""

from __future__ import annotations

from types import CodeType
from typing import Any

from numba.core.compiler import DefaultPassBuilder
from numba.core.compiler_machinery import FunctionPass, PassManager, register_pass
from numba.core.ir_utils import build_definitions
from numba.core.ssa import reconstruct_ssa
from numba.core.transforms import canonicalize_cfg
from numba.core.typed_passes import (
    AnnotateTypes,
    NativeLowering,
    NoPythonBackend,
    NopythonTypeInference,
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
    NopythonTypeInference,
    WithoutPhis,
    AnnotateTypes,
    RecordLowering,
    NoPythonBackend,
)


def passes_for(state: Any) -> PassManager:
    """Return the passes that compile a kernel, its lowering ours."""
    passes = PassManager("kernel")
    if _is_lean(state):
        for step in LEAN:
            passes.add_pass(step, step.__name__)
    else:
        for step, told in DefaultPassBuilder.define_nopython_pipeline(state).passes:
            passes.add_pass(RecordLowering if step is NativeLowering else step, told)
    passes.finalize()
    return passes


def _is_lean(state: Any) -> bool:
    """Return whether a kernel counts no references and has no function inside."""
    inside = (constant for constant in state.func_id.code.co_consts if isinstance(constant, CodeType))
    return not state.flags.nrt and not state.flags.debuginfo and next(inside, None) is None
