"""Machine code that is called without Numba, which takes longer to load than most loops take to run.

A loop is called as Numba calls it: with a place for what it returns, one for what an exception is made from, and its
values, an array as a row of words (``CPUCallConv`` and ``ArrayModel`` in Numba). What it gives back is a status.
"""

from __future__ import annotations

import ctypes
import itertools
import pickle
import sys
from collections.abc import Iterable, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ladderlight import Frozen

if TYPE_CHECKING:
    from llvmlite.binding import LLJIT, TargetMachine

Result = Any
"""What a loop returns: the type of a number or "", for an array the type of its items and the number of its axes, for a
tuple a dictionary with what it is of."""
_NUMBERS: dict[str, tuple[str, type[ctypes._CData]]] = {
    "int": ("i64", ctypes.c_int64),
    "float": ("double", ctypes.c_double),
    "bool": ("i8", ctypes.c_bool),
    "bool_": ("i8", ctypes.c_bool),
    "NoneType": ("ptr", ctypes.c_void_p),
    "float32": ("float", ctypes.c_float),
    "float64": ("double", ctypes.c_double),
}
for _bits in (8, 16, 32, 64):
    for _name in (f"int{_bits}", f"uint{_bits}"):
        _NUMBERS[_name] = (f"i{_bits}", getattr(ctypes, f"c_{_name}"))
_ARRAY = ["ptr", "ptr", "i64", "i64", "ptr"]
"""Words of an array before its shape and its strides: its memory's count of references and its owner, of which those
from Python have none here, the number of items, the bytes of one, and where they are."""
LENT = ("free", "malloc", "memcpy", "memmove", "memset", "sqrt", "sqrtf")
"""Functions of the system that machine code is given. Others it finds in the process, if they are there."""
_RETURNED = {0, -2}
"""Statuses: something is returned, or None. Others are of exceptions."""
_numbers = itertools.count()


class ObjectCode(Frozen):
    """A loop's object file, with its name in there, the types of its parameters and what it returns."""

    name: str
    parameters: list[str]
    result: Result
    code: bytes


class Machine:
    """A loop in memory, for values of certain types. It runs without the interpreter lock."""

    def __init__(self, loop: ObjectCode, kinds: Iterable[object]) -> None:
        """Link a loop; raises RuntimeError when it does not take values of these kinds, or needs what is not there."""
        types: list[tuple[str, type[ctypes._CData]]] = []
        for kind in kinds:
            types += _words(kind)
        if loop.parameters != ["ptr", "ptr", *(name for name, _ in types)]:
            raise RuntimeError(f"unexpected parameters of {loop.name}")
        import llvmlite.binding as llvm

        library = llvm.JITLibraryBuilder().add_object_img(loop.code).export_symbol(loop.name)
        for name in LENT:
            if address := _address(name):
                library.import_symbol(name, address)
        self._linked = library.link(_linker(), f"loop {next(_numbers)}")
        kind = ctypes.CFUNCTYPE(ctypes.c_int32, ctypes.c_void_p, ctypes.c_void_p, *(type_ for _, type_ in types))
        self._call = kind(self._linked[loop.name])
        self._result, self._place = loop.result, _place(loop.result)

    def __call__(self, *values: object) -> Any:
        """Run the loop."""
        words = [word for value in values for word in _passed(value)]
        place, cause = self._place(), ctypes.c_void_p()
        if self._call(ctypes.byref(place), ctypes.byref(cause), *words) not in _RETURNED:
            raise _exception(cause.value or 0)
        return _returned(self._result, place)


class _Memory:
    """Memory of an array that a loop has made, of one of its holders; the count of them is its first word."""

    def __init__(self, block: int, described: dict[str, Any]) -> None:
        self.__array_interface__ = described
        self._block, self._free = block, _free()
        self._holders = ctypes.c_int64.from_address(block) if block else None

    def __del__(self) -> None:
        """Free the memory with its last holder; when Python ends, ``ctypes`` itself may be gone."""
        if self._holders is not None:
            self._holders.value -= 1
            if not self._holders.value:
                self._free(self._block)


def target_machine() -> TargetMachine:
    """Return the machine to make code for: this one, with all it can do."""
    import llvmlite.binding as llvm

    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    name, features, triple = processor()
    relocation = "static" if triple.startswith("x86") else "default"  # as Numba does
    return llvm.Target.from_triple(triple).create_target_machine(
        cpu=name, features=features, opt=3, reloc=relocation, codemodel="jitdefault", jit=True
    )


def processor() -> tuple[str, str, str]:
    """Return the processor's name and abilities, and the system."""
    import llvmlite.binding as llvm

    return llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten(), llvm.get_process_triple()


@cache
def _linker() -> LLJIT:
    import llvmlite.binding as llvm

    return llvm.create_lljit_compiler(target_machine(), suppress_errors=True)


@cache
def _address(name: str) -> int:
    """Return where a function of the system is; 0 if it does not have it."""
    system = ctypes.cdll.msvcrt if sys.platform == "win32" else ctypes.CDLL(None)
    function = getattr(system, name, None)
    return ctypes.cast(function, ctypes.c_void_p).value or 0 if function else 0


@cache
def _free() -> Any:
    return ctypes.CFUNCTYPE(None, ctypes.c_void_p)(_address("free"))


def _words(kind: object) -> list[tuple[str, type[ctypes._CData]]]:
    """Return the types of the words that a value of a kind is passed as, for LLVM and for ctypes."""
    if isinstance(kind, str) and kind in _NUMBERS:
        return [_NUMBERS[kind]]
    if isinstance(kind, tuple) and not isinstance(kind[1], int):
        return [word for each in kind for word in _words(each)]
    if isinstance(kind, tuple) and kind[2] == "C":
        types = {"ptr": ctypes.c_void_p, "i64": ctypes.c_int64}
        return [(name, types[name]) for name in [*_ARRAY, *["i64"] * 2 * kind[1]]]
    raise RuntimeError(f"a loop that takes a value of kind {kind}")


def _data_of(array: NDArray[Any]) -> int | None:
    """Return where the items of an array are: the first field of NumPy's ``PyArrayObject`` after Python's own head.

    ``array.ctypes.data`` is the same, but takes longer than all else of a call.
    """
    return ctypes.c_void_p.from_address(id(array) + object.__basicsize__).value


def _passed(value: object) -> Sequence[object]:
    """Return the words that a value is passed as; of a tuple those of all that is in it."""
    if isinstance(value, np.ndarray):
        return (None, None, value.size, value.itemsize, _data_of(value), *value.shape, *value.strides)
    if isinstance(value, tuple):
        return [word for each in value for word in _passed(each)]
    return (value.item() if isinstance(value, np.generic) else value,)


def _place(result: Result) -> Any:
    """Return the type of the memory for what a loop returns."""
    if isinstance(result, dict):
        fields = [(str(number), _place(each)) for number, each in enumerate(result["of"])]
        return type("Tuple", (ctypes.Structure,), {"_fields_": fields})
    if isinstance(result, list):
        return ctypes.c_int64 * (len(_ARRAY) + 2 * result[1])
    return _NUMBERS[result or "NoneType"][1]


def _returned(result: Result, place: Any) -> Any:
    """Return what a loop has put into memory."""
    if isinstance(result, dict):
        return tuple([_returned(each, getattr(place, str(number))) for number, each in enumerate(result["of"])])
    if isinstance(result, list):
        return _array(result[0], result[1], place)
    return getattr(place, "value", place)  # a number in a tuple has already been taken out


def _array(type_: str, axes: int, words: Any) -> NDArray[Any]:
    block, data, first = words[0], words[4], len(_ARRAY)
    shape, strides = tuple(words[first : first + axes]), tuple(words[first + axes :])
    described = {"data": (data, False), "typestr": type_, "shape": shape, "strides": strides, "version": 3}
    array = np.asarray(_Memory(block, described))
    return array if block else array.copy()  # of what it was given


def _exception(cause: int) -> Exception:
    """Return the exception of a loop: its class and arguments, which are in the code, pickled; with their length."""
    if not cause:
        return RuntimeError("a compiled loop has ended without a result")
    place, length = ctypes.c_void_p.from_address(cause).value, ctypes.c_int32.from_address(cause + 8).value
    kind, arguments, *_ = pickle.loads(ctypes.string_at(place or 0, length))  # noqa: S301 - of the code itself, whose checksum is right
    error: Exception = kind(*arguments or ())
    return error
