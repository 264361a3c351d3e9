"""The private parts of numba that write what most lines of a kernel are: items of arrays, and loops.

numba writes 35 lines of LLVM's text for an item of an array and 60 for a loop, nearly all of which the
optimiser takes out again: three quarters of the text of reception's kernels. Here an item is its address and
a loop is what counts: the same numbers of fewer words. All else is left to numba.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

from llvmlite import ir
from numba.core import cgutils, types
from numba.core.ir import UNDEFINED, Arg, Assign, Expr, StaticSetItem
from numba.core.lowering import Lower
from numba.np.arrayobj import mark_positive

from covermap.numba_calls import may_fail

INT64 = ir.IntType(64)


class ItemLower(Lower):
    """numba's writing of a kernel's text, with items of arrays and loops over numbers in few words."""

    def lower_normal_function(self, fndesc: Any) -> None:
        """Write a kernel, note whether it may fail, and take out what it reads for nothing."""
        super().lower_normal_function(fndesc)
        self.library.may_fail = may_fail(self.function)
        _drop_unused(self.function)

    def address_of(self, name: str) -> Any:
        """Return where a variable's value stands in memory now; None where it is a value alone."""
        return None if name in self._blk_local_varmap else self.varmap.get(name)

    def alloca_lltype(self, name: str, lltype: Any, datamodel: Any = None) -> Any:
        """Return a place for a variable, of which no debugger is told."""
        if self.flags.debuginfo:
            return super().alloca_lltype(name, lltype, datamodel)
        return cgutils.alloca_once(self.builder, lltype, name=name, zfill=False)

    def storevar(self, value: Any, name: str, argidx: int | None = None) -> None:
        """Store a variable; where no references are counted, without a look at what stood there."""
        if self._keeps_counts or name in self._singly_assigned_vars:
            super().storevar(value, name, argidx)
            return
        self._alloca_var(name, self.typeof(name))
        self.builder.store(value, self.varmap[name])

    def delvar(self, name: str) -> None:
        """Let go of a variable; where no references are counted there is nothing to do."""
        if self._keeps_counts:
            super().delvar(name)

    @property
    def _keeps_counts(self) -> bool:
        return bool(self.context.enable_nrt or self.flags.debuginfo)

    def lower_inst(self, inst: Any) -> None:
        """Write an item by a fixed index as one by any; else as numba does."""
        if isinstance(inst, Assign) and not self.flags.debuginfo:  # numba would write each as a sentence, too
            value = self.lower_assign(self.typeof(inst.target.name), inst)
            number = inst.value.index + 1 if isinstance(inst.value, Arg) else None
            self.storevar(value, inst.target.name, argidx=number)
        elif not isinstance(inst, StaticSetItem) or not self._is_item(inst.target, inst.index_var):
            super().lower_inst(inst)
        else:
            self.lower_setitem(inst.target, inst.index_var, inst.value, self.fndesc.calltypes[inst])

    def lower_expr(self, resty: Any, expr: Expr) -> Any:
        """Write an expression."""
        if expr.op == "static_getitem" and self._is_item(expr.value, expr.index_var):
            return self.lower_getitem(resty, expr, expr.value, expr.index_var, None)
        elif expr.op == "getiter" and self.typeof(expr.value.name) == types.range_state64_type:
            start, stop, step = (_member(self.builder, self.loadvar(expr.value.name), n) for n in range(3))
            if _is_constant(step, 1):
                return self._loop(resty, start, stop)
        elif expr.op == "iternext" and self.typeof(expr.value.name) == types.range_iter64_type:
            return self._next(resty, self.loadvar(expr.value.name))
        elif expr.op in ("pair_first", "pair_second"):
            found = _member(self.builder, self.loadvar(expr.value.name), int(expr.op == "pair_second"))
            self.incref(resty, found)
            return found
        elif expr.op == "getattr" and type(self.typeof(expr.value.name)) is types.Array:
            if expr.attr == "size":
                return self._part(expr.value.name, "nitems")
            if expr.attr == "shape":
                axes = range(self.typeof(expr.value.name).ndim)
                sizes = [self._part(expr.value.name, "shape", axis) for axis in axes]
                return _record(self.builder, self.context.get_value_type(resty), sizes)
        return super().lower_expr(resty, expr)

    def _lower_call_normal(self, fnty: Any, expr: Expr, signature: Any) -> Any:
        """Write a call; that of range() is its three numbers."""
        if signature.return_type == types.range_state64_type and len(signature.args) < 3 and not expr.kws:
            given = [self._cast_var(var, types.int64) for var in expr.args]
            start = given[0] if len(given) == 2 else INT64(0)
            state = self.context.get_value_type(types.range_state64_type)
            return _record(self.builder, state, (start, given[-1], INT64(1)))
        return super()._lower_call_normal(fnty, expr, signature)

    def _loop(self, of_type: Any, start: Any, stop: Any) -> Any:
        """Return an iterator over the numbers from one to before another."""
        builder = self.builder
        counter, left = (cgutils.alloca_once(builder, INT64) for _ in range(2))
        builder.store(start, counter)
        builder.store(builder.sub(stop, start), left)  # none where it is negative
        return _record(builder, self.context.get_value_type(of_type), (counter, stop, INT64(1), left))

    def _next(self, of_type: Any, iterator: Any) -> Any:
        """Return the next number of a loop, and whether there is one."""
        builder = self.builder
        counter, _, step, left = (_member(builder, iterator, n) for n in range(4))
        number, count = builder.load(counter), builder.load(left)
        builder.store(builder.add(number, step), counter)
        builder.store(builder.sub(count, INT64(1), flags=["nsw"]), left)
        is_left = builder.icmp_signed(">", count, INT64(0))
        return _record(builder, self.context.get_value_type(of_type), (number, is_left))

    def lower_binop(self, resty: Any, expr: Expr, op: Any) -> Any:
        """Write an operator of two numbers, whose types were found before."""
        signature = self.fndesc.calltypes[expr]
        given = self.typeof(expr.lhs.name), self.typeof(expr.rhs.name)
        is_fixed = expr.static_lhs is not UNDEFINED or expr.static_rhs is not UNDEFINED
        if is_fixed or not all(isinstance(each, _SCALAR) for each in (*given, *signature.args)):
            return super().lower_binop(resty, expr, op)
        operator = self.context.typing_context.resolve_value_type(op)
        values = (self.loadvar(expr.lhs.name), self.loadvar(expr.rhs.name))
        casts = (
            self.context.cast(self.builder, *each) for each in zip(values, given, signature.args, strict=True)
        )
        if signature.args not in operator._impl_keys:  # a += b is typed as such, and written as a + b
            operator.get_call_type(self.context.typing_context, signature.args, {})
        found = self.context.get_function(operator, signature)(self.builder, tuple(casts))
        return self.context.cast(self.builder, found, signature.return_type, resty)

    def lower_getitem(self, resty: Any, expr: Expr, value: Any, index: Any, signature: Any) -> Any:
        """Read an item of an array."""
        if not self._is_item(value, index):
            return super().lower_getitem(resty, expr, value, index, signature)
        dtype = self.typeof(value.name).dtype
        found = self.context.unpack_value(self.builder, dtype, self._item(value.name, index.name))
        return self.context.cast(self.builder, found, dtype, resty)

    def lower_setitem(self, target_var: Any, index_var: Any, value_var: Any, signature: Any) -> Any:
        """Write an item of an array."""
        given = self.typeof(value_var.name)
        if not self._is_item(target_var, index_var) or not isinstance(given, _SCALAR):
            return super().lower_setitem(target_var, index_var, value_var, signature)
        dtype = self.typeof(target_var.name).dtype
        value = self.context.cast(self.builder, self.loadvar(value_var.name), given, signature.args[2])
        value = self.context.cast(self.builder, value, signature.args[2], dtype)
        self.context.pack_value(self.builder, dtype, value, self._item(target_var.name, index_var.name))

    def _is_item(self, array_var: Any, index_var: Any) -> bool:
        """Return whether an index of an array, both variables, denotes one number of it, and simply."""
        if index_var is None:
            return False
        array, index = self.typeof(array_var.name), self.typeof(index_var.name)
        return (
            type(array) is types.Array
            and (array.layout, array.aligned) == ("C", True)
            and isinstance(array.dtype, _SCALAR)
            and len(_types_of(index)) == array.ndim
            and all(isinstance(each, types.Integer) for each in _types_of(index))
            and not self.context.enable_boundscheck
        )

    def _item(self, array_name: str, index_name: str) -> Any:
        """Return the address of an item; a negative index counts from the end."""
        builder, index = self.builder, self.typeof(index_name)
        value = self.loadvar(index_name)
        is_tuple = isinstance(index, types.BaseTuple)
        place: Any = None
        for axis, of_type in enumerate(_types_of(index)):
            number = _member(builder, value, axis) if is_tuple else value
            number = self.context.cast(
                builder, number, of_type, types.intp if of_type.signed else types.uintp
            )
            may_wrap = of_type.signed and not (isinstance(number, ir.Constant) and number.constant >= 0)
            size = self._part(array_name, "shape", axis) if may_wrap or axis else None
            if may_wrap:
                is_negative = builder.icmp_signed("<", number, INT64(0))
                number = builder.select(is_negative, builder.add(number, size), number)
            place = number if place is None else builder.add(builder.mul(place, size), number)
        return builder.gep(self._part(array_name, "data"), [place])

    def _part(self, array_name: str, part: str, axis: int | None = None) -> Any:
        """Return where an array's numbers stand, or its size along an axis."""
        position = self.context.data_model_manager[self.typeof(array_name)].get_field_position(part)
        steps = [position] if axis is None else [position, axis]
        address = self.address_of(array_name)
        if address is None:
            return self.builder.extract_value(self.loadvar(array_name), steps)
        found = self.builder.load(cgutils.gep_inbounds(self.builder, address, 0, *steps))
        if axis is not None:
            mark_positive(self.builder, found)
        return found


_SCALAR = (types.Integer, types.Float, types.Boolean)


_PURE = (ir.LoadInstr, ir.GEPInstr, ir.instructions.ExtractValue, ir.InsertValue)


def _drop_unused(function: Any) -> None:
    """Take out what nothing uses: half of all reads are of a whole record of which one member is asked."""
    uses: Counter[int] = Counter()
    for block in function.blocks:
        for step in block.instructions:
            uses.update(map(id, _operands(step)))
    for block in reversed(function.blocks):
        kept = []
        for step in reversed(block.instructions):
            if isinstance(step, _PURE) and not uses[id(step)]:
                uses.subtract(map(id, step.operands))
            else:
                kept.append(step)
        block.instructions[:] = reversed(kept)


def _operands(step: Any) -> list[Any]:
    return [value for value, _ in step.incomings] if isinstance(step, ir.PhiInstr) else step.operands


def _types_of(index: Any) -> tuple[Any, ...]:
    return tuple(index) if isinstance(index, types.UniTuple | types.Tuple) else (index,)


def _is_constant(value: Any, number: int) -> bool:
    return isinstance(value, ir.Constant) and value.constant == number


def _record(builder: Any, of_type: Any, members: Any) -> Any:
    """Return a record of some members."""
    record: Any = ir.Constant(of_type, ir.Undefined)
    for number, member in enumerate(members):
        record = builder.insert_value(record, member, number)
    return record


def _member(builder: Any, record: Any, number: int) -> Any:
    """Return a member of a record, as it was put in where that is known."""
    made = record
    while isinstance(made, ir.InsertValue) and len(made.indices) == 1:
        if made.indices[0] == number:
            return made.value
        made = made.aggregate
    return builder.extract_value(record, number)
