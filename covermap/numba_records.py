"""The private parts of numba that let a kernel read a record of many arrays where it stands.

numba passes a named tuple as every word of all its arrays: the records of a home are 200 arguments and more,
taken apart and put together again at each call: more than half of what the compiler wrote. Here a record is
one argument, the address of where it stands, and what a kernel reads of it is read there. A record is never
written to, so an address is as good as the value for as long as the call lasts.
"""

from __future__ import annotations

import copy
from collections import Counter
from functools import cache
from typing import Any

from llvmlite import ir
from numba.core import cgutils, types
from numba.core.compiler_machinery import register_pass
from numba.core.cpu import CPUContext
from numba.core.datamodel import ArgPacker
from numba.core.ir import Assign, Expr
from numba.core.typed_passes import BaseNativeLowering

from covermap.numba_arguments import Address, ArgumentApi
from covermap.numba_calls import short_name
from covermap.numba_items import ItemLower

FEWEST_WORDS = 8  # of a record that is passed as an address; fewer stay in registers


class RecordContext(CPUContext):
    """numba's context of this processor, whose kernels take records by their address."""

    def mangler(self, name: str, types: Any, *, abi_tags: Any = (), uid: Any = None) -> str:
        """Return a kernel's name in LLVM's text."""
        return short_name(name, types, abi_tags, uid)

    def get_python_api(self, builder: Any) -> ArgumentApi:
        """Return what reads arguments that Python hands in."""
        return ArgumentApi(self, builder)

    def get_arg_packer(self, fe_args: Any) -> ArgPacker:
        """Return what turns arguments of some types into words, and words into arguments."""
        return ArgPacker(_Models(self.data_model_manager), fe_args)

    def apply_target_attributes(self, llvm_func: Any, argtypes: Any = None, restype: Any = None) -> None:
        """Say of each record's address that nobody writes there or keeps it."""
        super().apply_target_attributes(llvm_func, argtypes, restype)
        for argument in self.call_conv.get_arguments(llvm_func):
            if isinstance(argument.type, Address):
                argument.add_attribute("noalias")
                argument.add_attribute("captures(none)")


def with_records(context: CPUContext) -> CPUContext:
    """Return a context as it is, whose kernels take records by their address."""
    mine = copy.copy(context)
    mine.__class__ = RecordContext
    return mine


class _Models:
    """The models of types as words, with an address for a record."""

    def __init__(self, models: Any) -> None:
        self._models = models

    def lookup(self, of_type: Any) -> Any:
        model = self._models.lookup(of_type)
        return _Record(model) if _is_record(of_type, model) else model


class _Record:
    """The model of a record as an argument."""

    def __init__(self, model: Any) -> None:
        self._model = model

    def get_argument_type(self) -> Any:
        return Address(self._model.get_value_type())

    def as_argument(self, builder: Any, value: Any) -> Any:
        """Return where a record stands, put there now unless it stands where nobody writes."""
        place = _place_of(value)
        return cgutils.alloca_once_value(builder, value) if place is None else place

    def from_argument(self, builder: Any, value: Any) -> Any:
        return builder.load(value)


class RecordLower(ItemLower):
    """numba's writing of a kernel's text, which copies no record that was handed in."""

    def init(self) -> None:
        """Count how often each variable is assigned."""
        super().init()
        self._assigned = Counter(
            statement.target.name for block in self.blocks.values() for statement in block.find_insts(Assign)
        )
        self._members: dict[tuple[int, int], Any] = {}

    def storevar(self, value: Any, name: str, argidx: int | None = None) -> None:
        """Store a variable; of a record that stands for good, note where, in place of copying it."""
        place = _place_of(value) if isinstance(self.typeof(name), types.BaseNamedTuple) else None
        is_counted = self.context.enable_nrt and argidx is None
        if place is None or is_counted or self._assigned[name] != 1:
            super().storevar(value, name, argidx)
            return
        self._singly_assigned_vars.discard(name)
        self.varmap[name] = place

    def delvar(self, name: str) -> None:
        """Let go of a variable; a record that was handed in stays as it is."""
        place = self.varmap.get(name)
        if place is None or not _stands_for_good(place):
            super().delvar(name)
        elif self.context.enable_nrt:
            self.decref(self.typeof(name), self.builder.load(place))

    def lower_expr(self, resty: Any, expr: Expr) -> Any:
        """Read a member of a record where it stands; else as numba does."""
        if expr.op == "getattr" and isinstance(self.typeof(expr.value.name), types.BaseNamedTuple):
            record: Any = self.typeof(expr.value.name)
            place = self._place_of_variable(expr.value.name)
            if place is not None:
                number = record.fields.index(expr.attr)
                value = self.builder.load(self._member(place, number))
                self.incref(record[number], value)
                return self.context.cast(self.builder, value, record[number], resty)
        return super().lower_expr(resty, expr)

    def address_of(self, name: str) -> Any:
        """Return where a variable's value stands in memory now; None where it is a value alone."""
        if name in self._blk_local_varmap:
            return _place_of(self._blk_local_varmap[name])
        return super().address_of(name)

    def _place_of_variable(self, name: str) -> Any:
        """Return the address of a variable's record where that stands for good, else None."""
        if name in self._blk_local_varmap:
            return _place_of(self._blk_local_varmap[name])
        place = self.varmap.get(name)
        return place if place is not None and _stands_for_good(place) else None

    def _member(self, place: Any, number: int) -> Any:
        """Return the address of a record's member, worked out once, where the kernel begins."""
        known = id(place), number
        if known not in self._members:
            steps = [ir.Constant(ir.IntType(32), step) for step in (0, number)]
            with self.builder.goto_entry_block():
                self._members[known] = self.builder.gep(place, steps, inbounds=True)
        return self._members[known]


@register_pass(mutates_CFG=True, analysis_only=False)
class RecordLowering(BaseNativeLowering):
    """Writes a kernel's text with RecordLower."""

    _name = "covermap_record_lowering"  # type: ignore[assignment]

    @property
    def lowering_class(self) -> type[RecordLower]:
        """Return RecordLower."""
        return RecordLower


@cache
def _is_record(of_type: Any, model: Any) -> bool:
    """Return whether a type is a record that is passed as an address."""
    return isinstance(of_type, types.BaseNamedTuple) and _words(model.get_argument_type()) > FEWEST_WORDS


def _words(argument: Any) -> int:
    return sum(map(_words, argument)) if isinstance(argument, tuple | list) else 1


def _stands_for_good(place: Any) -> bool:
    """Return whether an address is that of a record handed in, or of a member of one."""
    while isinstance(place, ir.GEPInstr):
        place = place.pointer
    return isinstance(place.type, Address)


def _place_of(value: Any) -> Any:
    """Return the address that a value was read from, if it stands there for good; else None."""
    if isinstance(value, ir.LoadInstr) and _stands_for_good(value.operands[0]):
        return value.operands[0]
    return None
