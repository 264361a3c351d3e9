"""The private parts of numba that read a record of many arrays from Python in few words.

numba writes out the reading of each array of each record, and puts records together as values: a fifth of the
text of a kernel with 200 of them. Here what reads an array of some type is written once, as is what reads a
record, straight to where it stands.
"""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba.core import cgutils, types
from numba.core.pythonapi import NativeValue, PythonAPI

FAILED = ir.IntType(1)


class Address(type(ir.IntType(8).as_pointer())):  # type: ignore[misc]
    """The type of the address of a record that nobody writes to any more."""


class ArgumentApi(PythonAPI):
    """numba's way to Python, which reads arrays and records of them by functions of their own."""

    def to_native_value(self, typ: Any, obj: Any) -> NativeValue:
        """Return an argument that Python hands in."""
        if not _is_outlined(typ):
            return super().to_native_value(typ, obj)
        value_type = self.context.get_value_type(typ)
        place = cgutils.alloca_once(self.builder, value_type)
        place.type = Address(value_type)
        failed = self.builder.call(self._reader(typ), [obj, place])
        return NativeValue(self.builder.load(place), is_error=failed)

    def _reader(self, of_type: Any) -> Any:
        """Return the function that reads an object of a type to an address, and returns whether it failed."""
        name = f"covermap.read.{of_type._code}"
        if name in self.module.globals:
            return self.module.globals[name]
        address = self.context.get_value_type(of_type).as_pointer()
        reader = ir.Function(self.module, ir.FunctionType(FAILED, [self.pyobj, address]), name)
        reader.linkage = "internal"
        reader.attributes.add("noinline")
        inside = ArgumentApi(self.context, ir.IRBuilder(reader.append_basic_block("entry")))
        inside._write_reader(of_type, *reader.args)
        return reader

    def _write_reader(self, of_type: Any, obj: Any, place: Any) -> None:
        """Write the function that reads an array or a record."""
        if isinstance(of_type, types.Array):
            native = super().to_native_value(of_type, obj)
            self.builder.store(native.value, place)
            self.builder.ret(native.is_error)
            return
        failed: Any = FAILED(0)
        for number, member in enumerate(of_type):
            item = self.tuple_getitem(obj, number)  # as many as there are: Python's types are told before
            to = cgutils.gep_inbounds(self.builder, place, 0, number)
            failed = self.builder.or_(failed, self._read(member, item, to))
        self.builder.ret(failed)

    def _read(self, of_type: Any, obj: Any, place: Any) -> Any:
        """Read a member of a record to an address; return whether it failed."""
        if _is_outlined(of_type):
            return self.builder.call(self._reader(of_type), [obj, place])
        native = super().to_native_value(of_type, obj)
        self.builder.store(native.value, place)
        return native.is_error


def _is_outlined(of_type: Any) -> bool:
    """Return whether a type is an array, or a record of arrays and numbers."""
    if isinstance(of_type, types.BaseNamedTuple):
        members: Any = of_type
        return all(_is_outlined(each) or isinstance(each, types.Number | types.Boolean) for each in members)
    return type(of_type) is types.Array
