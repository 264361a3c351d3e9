"""The private parts of numba that infer types again only where something changed.

numba works out every statement of a kernel again until nothing new is found: the last round, and often the
whole of the second, is for nothing.
"""

from __future__ import annotations

from typing import Any

from numba.core import errors as numbas_errors
from numba.core.compiler_machinery import FunctionPass, register_pass
from numba.core.errors import NumbaWarning, TypingError
from numba.core.typeinfer import ConstraintNetwork, TypeInferer, TypeVar, TypeVarMap


class Variables(TypeVarMap):
    """The types of variables, with a note of which were looked at."""

    def __init__(self) -> None:
        super().__init__()
        self.looked_at: dict[str, TypeVar] = {}

    def __getitem__(self, name: str) -> TypeVar:
        found = self.looked_at[name] = super().__getitem__(name)
        return found


class Statements(ConstraintNetwork):
    """What each statement says of types, asked again only where a variable that it looked at has changed."""

    def __init__(self) -> None:
        super().__init__()
        self._seen: dict[int, list[tuple[TypeVar, Any]]] = {}

    def propagate(self, typeinfer: Any) -> list[Exception]:
        """Ask every statement that may have something new to say; return what is wrong."""
        failures = []
        for number, statement in enumerate(self.constraints):
            seen = self._seen.get(number)
            if seen is not None and all(variable.type is of_type for variable, of_type in seen):
                continue
            looked_at: dict[str, TypeVar] = {}
            typeinfer.typevars.looked_at = looked_at
            try:
                statement(typeinfer)
                self._seen[number] = [(variable, variable.type) for variable in looked_at.values()]
            except TypingError:
                self._seen.pop(number, None)
                failures += _told_by_numba(statement, typeinfer)
        return failures


def _told_by_numba(statement: Any, inferer: Any) -> list[Exception]:
    """Return what is wrong with a statement, with its place."""
    alone = ConstraintNetwork()
    alone.append(statement)
    return alone.propagate(inferer)


class KernelInferer(TypeInferer):
    """numba's inference of types, by Statements."""

    def __init__(self, context: Any, func_ir: Any, warnings: Any) -> None:
        super().__init__(context, func_ir, warnings)
        self.typevars = Variables()
        self.typevars.set_context(context)
        self.constraints = Statements()


@register_pass(mutates_CFG=True, analysis_only=False)
class InferTypes(FunctionPass):
    """Finds the types of a kernel's variables."""

    _name = "covermap_infer_types"

    def __init__(self) -> None:
        FunctionPass.__init__(self)

    def run_pass(self, state: Any) -> bool:
        """Note the types."""
        errors: Any = numbas_errors
        warnings = errors.WarningsFixer(NumbaWarning)
        inferer = KernelInferer(state.typingctx, state.func_ir, warnings)
        asked_from = state.typingctx.callstack.register(
            state.targetctx.target, inferer, state.func_id, state.args
        )
        with asked_from, warnings:
            for index, (name, of_type) in enumerate(zip(state.func_ir.arg_names, state.args, strict=True)):
                inferer.seed_argument(name, index, of_type)
            inferer.build_constraint()
            state.typing_errors = inferer.propagate()
            state.typemap, state.return_type, state.calltypes = inferer.unify()
        return True
