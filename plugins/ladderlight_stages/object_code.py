"""Object code of loops: compiled by Numba, with all that they call, to run where Numba is not loaded."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
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
    (name,) = [each.name for each in _defined(module.functions) if each.linkage is llvm.Linkage.external]
    runtime = llvm.parse_assembly(RUNTIME)
    runtime.triple, runtime.data_layout = module.triple, module.data_layout
    module.link_in(runtime)
    for each in (*_defined(module.functions), *_defined(module.global_variables)):
        if each.name != name:
            each.linkage = llvm.Linkage.internal
    machine, unused = target_machine(), llvm.create_new_module_pass_manager()
    unused.add_global_dead_code_eliminate_pass()
    unused.run(module, llvm.create_pass_builder(machine, llvm.create_pipeline_tuning_options()))
    called = {each.name for each in module.functions if each.is_declaration and not each.name.startswith("llvm.")}
    if called - _CALLED or any("NumbaEnv" in each.name for each in module.global_variables):
        raise RuntimeError("the code needs more of Numba, or the interpreter")
    _, _, parameters = str(module.get_function(name).global_value_type).rstrip(")").partition("(")
    code = machine.emit_object(module)
    return ObjectCode(name=name, parameters=parameters.split(", "), result=_result(signature.return_type), code=code)


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
