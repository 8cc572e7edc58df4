"""Given words at a given address."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray

from ladderlight import (
    ArrangementError,
    Board,
    CodedPicture,
    Contents,
    Example,
    Option,
    Problem,
    nearest_word,
    refuse,
    stage,
)
from ladderlight.board import Memory
from ladderlight.units.words import counted
from ladderlight_stages.tiling.word_sheets import Sheets


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    file, words = options["file"], options["words"]
    try:
        target = _memory(board, options["memory"])
    except ArrangementError as error:
        yield Problem.of(error, "memory")
        return
    if (file is None) == (words is None):
        yield Problem(where=(), what='needs either file = "..." or words = "..."', action="write one of them")
        return
    bits, full = options["bits"], (1 << target.part.width) - 1
    if bits is not None and bits > full:
        what = f"bits = {bits:X}h is wider than the {target.part.width} bits of memory {target.name!r}"
        yield Problem(where=("bits",), what=what, action=f"use at most {full:X}h")
    try:
        values = _values(target, file, words, options["order"])
    except ArrangementError as error:
        yield Problem.of(error, "words" if file is None else "file")
        return
    last = options["address"] + len(values) * options["repeat"] - 1
    if last >= target.words:
        what = f"address {last:X}h is beyond memory {target.name!r}, whose last is {target.words - 1:X}h"
        yield Problem(where=("address",), what=what, action="lower the address or use a larger part")


@stage(
    help="Put the words of a file, or words in the recipe, at an address.",
    rule=_problems,
    needs_pictures=False,
    example=Example(
        shows="the memory, empty but for black and white stripes in its last quarter",
        options={"memory": "picture", "words": "00 00 00 00 3F 3F 3F 3F", "address": 98304, "repeat": 4096},
        pictures=(),
    ),
)
def raw(
    pictures: Sequence[CodedPicture],  # noqa: ARG001 - places none of them
    board: Board,
    *,
    memory: Annotated[str, Option("name of the memory")],
    file: Annotated[bytes | None, Option("a binary file of words, relative to the recipe")] = None,
    words: Annotated[str | None, Option('words in hexadecimal, such as "00 3F 1A"')] = None,
    address: Annotated[int, Option("address of the first word", minimum=0)] = 0,
    repeat: Annotated[int, Option("number of copies, one after another", minimum=1)] = 1,
    order: Annotated[Literal["little", "big"], Option("byte order of a file's words wider than 8 bits")] = "little",
    bits: Annotated[
        int | None, Option("mask of the bits to write, such as 15 for D0 to D3; all if not given", minimum=1)
    ] = None,
) -> Contents:
    """Put the words of a file, or words in the recipe, at an address.

    Other arrangements may write to the same memory, and to the same address where the bits agree. The words are used
    unchanged, without regard to wiring and ladders.

    Raises ArrangementError when there is no such memory, the words are too wide, or they reach beyond the memory.
    """
    options = {"memory": memory, "file": file, "words": words, "order": order}
    refuse(_problems(board, options | {"address": address, "repeat": repeat, "bits": bits}), ArrangementError)
    target = _memory(board, memory)
    values = np.tile(_values(target, file, words, order), repeat)
    at = address + np.arange(values.size, dtype=np.int64)
    full = (1 << target.part.width) - 1
    mask = np.uint32(full if bits is None else bits)
    sheets = Sheets(board=board)
    sheets.put_words(target, at, values, int(mask))
    return Contents(memories=sheets.contents())


def _memory(board: Board, name: str) -> Memory:
    names = [memory.name for memory in board.memories]
    if name not in names:
        raise ArrangementError(f"no memory is called {name!r}; {nearest_word(name, names)}")
    return board.memory(name)


def _values(
    memory: Memory, file: bytes | None, words: str | None, order: Literal["little", "big"]
) -> NDArray[np.uint32]:
    values = _from_text(words or "") if file is None else _from_bytes(file, memory, order)
    if memory.part.width < 32 and np.any(values >> np.uint32(memory.part.width)):
        raise ArrangementError(
            f"word {int(values.max()):X}h does not fit into the {memory.part.width} bits of memory "
            f"{memory.name!r}; check memory and byte order"
        )
    return values


def _from_bytes(data: bytes, memory: Memory, order: Literal["little", "big"]) -> NDArray[np.uint32]:
    size = (memory.part.width + 7) // 8
    if not data:
        raise ArrangementError("the file is empty; choose a file of words")
    if len(data) % size:
        raise ArrangementError(
            f"the file has {counted(len(data), 'byte')}, not a whole number of the {size}-byte words of memory "
            f"{memory.name!r}; check the file"
        )
    table = np.frombuffer(data, dtype=np.uint8).reshape(-1, size)
    wide = np.zeros((len(table), 4), dtype=np.uint8)
    wide[:, :size] = table if order == "little" else table[:, ::-1]
    return wide.view("<u4").ravel().astype(np.uint32)


def _from_text(text: str) -> NDArray[np.uint32]:
    try:
        numbers = [int(word, 16) for word in text.split()]
    except ValueError as error:
        raise ArrangementError(f'{text[:40]!r} is not hexadecimal; write words such as "00 3F 1A"') from error
    if not numbers or not all(0 <= number < 1 << 32 for number in numbers):
        raise ArrangementError('words must be hexadecimal numbers of at most 32 bits, such as "00 3F 1A"')
    return np.array(numbers, dtype=np.uint32)
