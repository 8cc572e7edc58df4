"""Object code of loops: compiled by Numba, with all that they call, to run where Numba is not loaded."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from functools import reduce
from types import FunctionType
from typing import TYPE_CHECKING

from ladderlight_stages.machines import LENT, ObjectCode, Result, target_machine

if TYPE_CHECKING:
    from llvmlite.binding import ValueRef
    from numba.types import Type

HOW = {"nogil": True, "error_model": "numpy"}
"""How loops are compiled: without the interpreter lock, and with no test for division by zero, which would keep the
compiler from taking many numbers at a time."""
FOR_MACHINES = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
"""Of loops that are not called by Numba's own means."""
RUNTIME = """
declare ptr @malloc(i64)
declare void @free(ptr)

define ptr @NRT_MemInfo_alloc_aligned(i64 %size, i32 %align) {
  %step = zext i32 %align to i64
  %more = add i64 %step, 64
  %all = add i64 %more, %size
  %block = call ptr @malloc(i64 %all)
  %failed = icmp eq ptr %block, null
  br i1 %failed, label %end, label %fill
fill:
  store i64 1, ptr %block
  %start = ptrtoint ptr %block to i64
  %past = add i64 %start, %more
  %steps = sub i64 0, %step
  %aligned = and i64 %past, %steps
  %data = inttoptr i64 %aligned to ptr
  %field = getelementptr i64, ptr %block, i64 3
  store ptr %data, ptr %field
  br label %end
end:
  ret ptr %block
}

define ptr @NRT_Allocate(i64 %size) {
  %block = call ptr @malloc(i64 %size)
  ret ptr %block
}

define void @NRT_Free(ptr %block) {
  call void @free(ptr %block)
  ret void
}

define void @NRT_MemInfo_call_dtor(ptr %block) {
  call void @free(ptr %block)
  ret void
}

define i32 @numba_attempt_nocopy_reshape(i64 %axes, ptr %shape, ptr %strides,
                                         i64 %new_axes, ptr %new_shape, ptr %new_strides, i64 %itemsize, i32 %order) {
  br label %each
each:
  %left = phi i64 [ %new_axes, %0 ], [ %axis, %next ]
  %stride = phi i64 [ %itemsize, %0 ], [ %whole, %next ]
  %ended = icmp eq i64 %left, 0
  br i1 %ended, label %end, label %next
next:
  %axis = sub i64 %left, 1
  %place = getelementptr i64, ptr %new_strides, i64 %axis
  store i64 %stride, ptr %place
  %along = getelementptr i64, ptr %new_shape, i64 %axis
  %size = load i64, ptr %along
  %whole = mul i64 %stride, %size
  br label %each
end:
  ret i32 1
}
"""
"""What loops need of Numba while they run: memory for their arrays, behind a count of references, three words and a
pointer to it (``MemInfo`` in Numba's ``core/runtime/nrt.cpp``), and the strides of an array in C order in a new shape.
Whatever else a loop needs is refused."""
_CALLED = {*LENT, *dir(math), *(f"{name}f" for name in dir(math))}
"""What code may call by name: nothing of the interpreter's, whose lock it does not hold. C's mathematics, in double and
single precision, has the names that it has in Python."""


def compile_loop(function: FunctionType, values: Sequence[object]) -> ObjectCode:
    """Return the object code of a loop for the types of some values.

    Raises what Numba raises about the loop, and RuntimeError when Numba's code or its result is not as expected.
    """
    import llvmlite.binding as llvm
    import numba

    dispatcher = numba.njit(**HOW, **FOR_MACHINES)(function)
    dispatcher.compile(tuple(numba.typeof(value) for value in values))
    (signature,) = dispatcher.nopython_signatures
    module = llvm.parse_assembly(dispatcher.inspect_llvm(signature.args))
    (loop,) = [each for each in _defined(module.functions) if each.linkage is llvm.Linkage.external]
    name = f"entry.{loop.name}"
    for text in (RUNTIME, _entry(name, loop, signature.args)):
        more = llvm.parse_assembly(text)
        more.triple, more.data_layout = module.triple, module.data_layout
        module.link_in(more)
    for each in (*_defined(module.functions), *_defined(module.global_variables)):
        if each.name != name:
            each.linkage = llvm.Linkage.internal
    machine, unused = target_machine(), llvm.create_new_module_pass_manager()
    unused.add_global_dead_code_eliminate_pass()
    unused.run(module, llvm.create_pass_builder(machine, llvm.create_pipeline_tuning_options()))
    called = {each.name for each in module.functions if each.is_declaration and not each.name.startswith("llvm.")}
    if called - _CALLED or any("NumbaEnv" in each.name for each in module.global_variables):
        raise RuntimeError("the code needs more of Numba, or the interpreter")
    parameters, code = _parameters(module.get_function(name)), machine.emit_object(module)
    return ObjectCode(name=name, parameters=parameters, result=_result(signature.return_type), code=code)


def _entry(name: str, loop: ValueRef, kinds: Iterable[Type]) -> str:
    """Return LLVM's text of a function that takes arrays as Python has them, and calls a loop with their words.

    At the head of NumPy's ``PyArrayObject`` are, 8 bytes each, the place of its items, the number of axes, and the
    places of its shape and its strides (``ndarraytypes.h``).
    """
    import numba

    types, head = _parameters(loop), object.__basicsize__
    given, words, lines = ["ptr %result", "ptr %cause"], ["ptr %result", "ptr %cause"], list[str]()

    def made(instruction: str) -> str:
        lines.append(f"%x{len(lines)} = {instruction}\n")
        return f"%x{len(lines) - 1}"

    def read(type_: str, place: str, offset: int) -> str:
        return made(f"load {type_}, ptr {made(f'getelementptr i8, ptr {place}, i64 {offset}')}")

    for number, kind in enumerate(_single(kinds)):
        if isinstance(kind, numba.types.Array):
            given.append(f"ptr %v{number}")
            items, *places = [read("ptr", f"%v{number}", head + offset) for offset in (0, 16, 24)]
            axes = [read("i64", place, 8 * axis) for place in places for axis in range(kind.ndim)]
            count = reduce(lambda count, axis: made(f"mul i64 {count}, {axis}"), axes[: kind.ndim], "1")
            size = numba.np.numpy_support.as_dtype(kind.dtype).itemsize
            words += 2 * ["ptr null"] + [f"i64 {count}", f"i64 {size}", f"ptr {items}"] + [f"i64 {n}" for n in axes]
        else:
            given.append(f"{types[len(words)]} %v{number}")
            words.append(given[-1])
    called = f'i32 @"{loop.name}"'
    body = f"{''.join(lines)}%status = call {called}({', '.join(words)})\nret i32 %status"
    return f'declare {called}({", ".join(types)})\ndefine i32 @"{name}"({", ".join(given)}) {{\n{body}\n}}'


def _single(kinds: Iterable[Type]) -> Iterator[Type]:
    """Yield the types of values, those in tuples one by one."""
    for kind in kinds:
        yield from _single(kind) if hasattr(kind, "__iter__") else (kind,)


def _parameters(function: ValueRef) -> list[str]:
    return str(function.global_value_type).rstrip(")").partition("(")[2].split(", ")


def _defined(values: Iterable[ValueRef]) -> Iterator[ValueRef]:
    return (value for value in values if not value.is_declaration)


def _result(kind: Type) -> Result:
    """Return the description of what a loop returns, from Numba's type of it."""
    import numba

    if isinstance(kind, numba.types.Array):
        return [numba.np.numpy_support.as_dtype(kind.dtype).str, kind.ndim]
    if isinstance(kind, numba.types.BaseTuple):
        return {"of": [_result(each) for each in kind]}
    return "" if kind == numba.types.none else str(numba.types.unliteral(kind))
