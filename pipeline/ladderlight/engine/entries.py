"""Pictures as entries of the cache: their pixels or codes as parts, all else in the description."""

from __future__ import annotations

import json
import pickle
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from io import BytesIO
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ladderlight.cache.entries import DamagedError, Entry
from ladderlight.cache.store import Writing
from ladderlight.flow.pictures import CodedPicture, FilePart, Origin, Picture, SourceView
from ladderlight.system.frozen import Frozen

_BEYOND = 1 << 14_000  # about the greatest of 4,300 digits, which is what is read back
_SAFE = ("numpy", "numpy.core.multiarray", "numpy._core.multiarray", "numpy.core.numeric", "numpy._core.numeric")


def plain_array(array: NDArray[Any]) -> NDArray[Any]:
    """Return an array as it comes out of the cache: writable, in C order, of its own.

    Whatever passes a point where pictures are kept gets this form, kept or not: sums of numbers depend on their order.
    """
    return np.require(array, requirements=["C", "A", "W"])


class Described(Frozen):
    """A coded picture without its codes and its view."""

    origin: Origin
    metrics: Mapping[str, Any]
    notes: Mapping[str, Any]

    @classmethod
    def of(cls, picture: CodedPicture) -> Described:
        """Leave out codes and view."""
        return cls(origin=picture.origin, metrics=picture.metrics, notes=picture.notes)

    def with_codes(self, codes: NDArray[np.uint16]) -> CodedPicture:
        """Return the coded picture."""
        return CodedPicture(origin=self.origin, codes=codes, metrics=self.metrics, notes=self.notes)


def add_picture(writing: Writing, picture: Picture | CodedPicture) -> dict[str, Any]:
    """Write the pixels or codes of a picture, and return the rest for the description of the entry.

    The part after them is its view, empty where it has none.
    """
    array: NDArray[Any] = picture.pixels if isinstance(picture, Picture) else picture.codes
    view = picture.view
    writing.add(_bytes_of(array))
    writing.add(view.data if view else b"")
    found: dict[str, Any] = {"origin": _fields_of(picture.origin), "notes": dict(picture.notes), "shape": array.shape}
    found["view"] = view and (view.size, view.crop)
    if isinstance(picture, Picture):
        return found | {"part": picture.part and _fields_of(picture.part)}
    return found | {"metrics": dict(picture.metrics)}


def _fields_of(value: Origin | FilePart) -> dict[str, Any]:
    return {name: getattr(value, name) for name in value.__dataclass_fields__}


def is_plain(value: object) -> bool:
    """Whether a value comes out of the cache as it went in; tuples come out as lists."""
    if type(value) is str:  # two halves of a character, each by itself, would come out as one
        return value.isascii() or bool(json.loads(json.dumps(value)) == value)
    if isinstance(value, dict):
        return all(type(key) is str and is_plain(key) and is_plain(item) for key, item in value.items())
    if isinstance(value, (list, tuple)):
        return all(map(is_plain, value))
    if type(value) is int:
        return abs(value) < _BEYOND
    return value is None or type(value) in (float, bool)


@contextmanager
def refusing_damage() -> Iterator[None]:
    """Raise DamagedError where an entry does not have in it what is read."""
    try:
        yield
    except (AttributeError, IndexError, KeyError, MemoryError, TypeError, ValueError) as error:
        raise DamagedError(str(error)) from error


def described(found: Mapping[str, Any]) -> Described:
    """Return a coded picture of a description, without its codes.

    Raises DamagedError when it is none.
    """
    with refusing_damage():
        return Described(origin=Origin(**found["origin"]), metrics=found["metrics"], notes=found["notes"])


def _bytes_of(array: NDArray[Any]) -> memoryview:
    return array.reshape(-1).view(np.uint8).data


def codes_in(entry: Entry, index: int) -> NDArray[np.uint16]:
    """Read the codes of a coded picture.

    Raises DamagedError when they are not as they were written.
    """
    with refusing_damage():
        codes = np.empty(entry.about["pictures"][index]["shape"], dtype=np.uint16)
        entry.read_into(2 * index, _bytes_of(codes))
        return codes


def view_in(entry: Entry, index: int) -> SourceView | None:
    """Read the view of a picture; raises as :func:`codes_in` does."""
    with refusing_damage():
        found = entry.about["pictures"][index]["view"]
        return found and _view_of(found, entry.read(2 * index + 1))


def _view_of(found: Sequence[Any], data: bytearray) -> SourceView:
    size, crop = (each and tuple(each) for each in found)
    return SourceView(data=bytes(data), size=size, crop=crop)


def pictures_of(entry: Entry) -> Iterator[Picture]:
    """Yield the pictures of an entry; raises as :func:`codes_in` does."""
    with refusing_damage():
        for index, found in enumerate(entry.about["pictures"]):
            pixels, data = np.empty(found["shape"], dtype=np.float32), bytearray(entry.parts[2 * index + 1][1])
            entry.read_into(2 * index, _bytes_of(pixels), memoryview(data))
            view = found["view"] and _view_of(found["view"], data)
            part = found["part"] and FilePart(**{key: value and tuple(value) for key, value in found["part"].items()})
            yield Picture(origin=Origin(**found["origin"]), pixels=pixels, notes=found["notes"], part=part, view=view)


def packed(value: object) -> bytes | None:
    """Return a survey's finding as bytes; None when it is not of numbers, texts, arrays and collections of these."""
    try:
        data = pickle.dumps(value, 5)
        unpacked(data)
    except Exception:  # noqa: BLE001 - it may be anything of a plugin's
        return None
    return data


def unpacked(data: bytes) -> Any:
    """Return what was packed. Nothing but numbers, texts, arrays and collections is made.

    Raises pickle.UnpicklingError when something else is asked for.
    """
    return _Unpickler(BytesIO(data)).load()


class _Unpickler(pickle.Unpickler):
    def find_class(self, module: str, name: str) -> Any:
        if module in _SAFE and name in ("_reconstruct", "ndarray", "dtype", "scalar", "_frombuffer"):
            return super().find_class(module, name)
        raise pickle.UnpicklingError(f"{module}.{name} is not plain")
