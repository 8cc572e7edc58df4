import io
import os
import socket
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intelhex import IntelHex

from ladderlight import DeviceFile, Span
from ladderlight.board import Device, Part
from ladderlight.errors import UsageError
from ladderlight.readback.dumps import Dump, fit, misfit, read_dumps
from ladderlight.readback.sections import Section, sections_of


def device(words=64, width=8, name="chip"):
    return Device(name=name, memory=name, part=Part(number="spare", words=words, width=width), index=0)


def section(words=64, width=8, offsets=(), **span):
    files = tuple(f"{number}.hex" for number in range(len(offsets)))
    return Section(device=device(words, width), span=Span(**span), files=files, offsets=offsets)


def hex_of(data, base, tmp_path):
    """Intel HEX by the library intelhex, which takes no part in what is tested."""
    writer = IntelHex()
    writer.frombytes(data, base)
    path = tmp_path / "dump.hex"
    writer.write_hex_file(str(path))
    return path.read_bytes()


def test_a_plain_dump_must_have_just_the_size():
    held = fit(Dump(name="d", data=bytes(range(64))), section())
    assert (held.base, held.left_out) == (0, 0)
    assert held.data.tolist() == list(range(64))
    assert fit(Dump(name="d", data=bytes(63)), section()) is None
    assert fit(Dump(name="d", data=bytes(32)), section(width=16, words=32, step=2)) is not None


@pytest.mark.parametrize("base", [0, 0x8000, 0xFFE0, 0x12345])
def test_a_whole_dump_with_addresses_may_begin_anywhere(tmp_path, base):
    data = bytes(range(64))
    held = fit(Dump(name="d", data=hex_of(data, base, tmp_path)), section())
    assert (held.base, held.left_out) == (base, 0)
    assert held.data[np.argsort(held.at)].tobytes() == data


@given(
    st.sets(st.integers(0, 63), min_size=1),
    st.sampled_from([(0, ()), (0x40, (0x40,)), (0x4000, ()), (0x123, (0x123,))]),
)
def test_what_a_dump_leaves_out_is_counted_and_the_rest_stands_in_its_place(tmp_path_factory, at, begins):
    """At 0, at the address of the build's files, or at a multiple of the size."""
    base, offsets = begins
    writer = IntelHex()
    for place in at:
        writer[base + place] = place ^ 0x5A
    path = tmp_path_factory.mktemp("hex") / "dump.hex"
    writer.write_hex_file(str(path))
    held = fit(Dump(name="d", data=path.read_bytes()), section(offsets=offsets))
    assert held.left_out == 64 - len(at)
    if base == 0 or max(at) - min(at) < 63:
        assert held.base == base
    assert {int(a) + held.base - base: int(v) for a, v in zip(held.at, held.data, strict=True)} == {
        place: place ^ 0x5A for place in at
    }


def test_the_address_is_that_of_the_file_of_the_same_name_or_suffix():
    """Two bytes that would fit at either of the addresses."""
    writer = IntelHex({0x44: 1, 0x45: 2})
    text = io.StringIO()
    writer.write_hex_file(text)
    both = Section(device=device(256, 8), span=Span(), files=("chip.bin", "chip.hex"), offsets=(0, 0x40))
    for name, base in (("dumps/chip.hex", 0x40), ("read.hex", 0x40), ("chip.bin", 0), ("read.txt", 0)):
        assert fit(Dump(name=name, data=text.getvalue().encode()), both).base == base


def test_a_piece_may_be_saved_from_its_place_in_the_device(tmp_path):
    upper = section(first=32, count=32)
    data = hex_of(bytes(20), 32 + 4, tmp_path)
    held = fit(Dump(name="d", data=data), upper)
    assert (held.base, held.left_out, held.at[0]) == (32, 12, 4)


def test_verilog_elements_of_words_are_no_bytes():
    dump = Dump(name="d", data=b"@0 AA55 1234\n")
    assert fit(dump, section(words=2, width=16)).data.tolist() == [0x55, 0xAA, 0x34, 0x12]
    assert fit(dump, section(words=2, width=16, step=2)) is None


def test_a_damaged_dump_is_an_error_wherever_it_is_laid():
    with pytest.raises(UsageError, match=r"d:1: .* the file is damaged"):
        fit(Dump(name="d", data=b":02000000AA5500\n:00000001FF\n"), section())


def test_a_misfit_says_what_it_holds_and_what_is_taken(make_board, memory):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))
    files = [
        DeviceFile(device="picture", name=f"p{n}.bin", data=b"", span=Span(first=n * 32768, count=32768))
        for n in range(4)
    ]
    sections = sections_of(board, files)
    assert str(misfit(Dump(name="dump.bin", data=bytes(100)), sections)) == (
        "dump.bin: holds 100 bytes, but device 'picture' (27C1024) takes 131,072 (all of it), 65,536 (the even bytes, "
        "the odd bytes) or 32,768 (p0.bin, p1.bin, p2.bin, ...); check that it is of this board"
    )
    damaged = misfit(Dump(name="dump.hex", data=b":abc"), sections)
    assert str(damaged).endswith("; it begins like Intel HEX, so it may be damaged")
    assert damaged.exit_status == 2


def test_a_dump_with_addresses_that_is_too_long_says_from_where_to_where(tmp_path):
    data = hex_of(bytes(65), 0x100, tmp_path)
    assert str(misfit(Dump(name="dump.hex", data=data), [section()])) == (
        "dump.hex: has bytes at 100h to 140h, which are 65, but device 'chip' (spare) takes 64; "
        "check that it is of this board, and from which address it was saved"
    )


def test_a_missing_dump_is_a_clear_error(tmp_path):
    (tmp_path / "a.bin").write_bytes(b"x")
    (dump,) = read_dumps([tmp_path / "a.bin"], [section()])
    assert (dump.name, dump.data, dump.format) == (str(tmp_path / "a.bin"), b"x", "binary")
    with pytest.raises(UsageError, match=r"b\.bin: cannot be read \(No such file or directory\); check the name"):
        read_dumps([tmp_path / "b.bin"], [section()])


@pytest.fixture
def odd(tmp_path):
    """Make what is in the file system but is not a regular file."""

    def make(kind):
        path = tmp_path / "dump.bin"
        if kind == "a folder":
            path.mkdir()
        elif kind == "a named pipe":
            os.mkfifo(path)
        elif kind == "a socket":
            with socket.socket(socket.AF_UNIX) as made:
                made.bind(str(path))
        else:
            path.symlink_to("/dev/zero")
        return path

    return make


@pytest.mark.parametrize("kind", ["a folder", "a named pipe", "a socket", "a device of the system"])
def test_what_is_not_a_file_is_refused_without_being_opened(odd, kind):
    path = odd(kind)
    with pytest.raises(UsageError) as caught:
        read_dumps([path], [section()])
    assert str(caught.value) == f"{path}: is {kind}; name the file that a programmer saved"


def test_a_file_that_is_far_too_large_is_refused_without_being_read(tmp_path, monkeypatch):
    path = tmp_path / "dump.bin"
    with path.open("wb") as file:
        file.truncate(5 << 30)
    monkeypatch.setattr(Path, "read_bytes", lambda _: pytest.fail("it was read"))
    with pytest.raises(UsageError) as caught:
        read_dumps([path], [section(words=65536)])
    assert str(caught.value) == (
        f"{path}: has 5,368,709,120 bytes, too many for a dump of a device of 65,536; check that it is of this board"
    )


@pytest.mark.parametrize("base", [0xFFFF0000, 0xFFFFFFC0])
def test_an_address_near_4_gib_takes_no_memory(base, tmp_path):
    """A far address among near ones is a misfit; alone it is where the device begins."""
    near, far = (hex_of(bytes(range(64)), at, tmp_path) for at in (0, base))
    both = b"".join(line for line in near.splitlines(keepends=True) if b"000001FF" not in line) + far
    fit(Dump(name="d", data=near), section())  # loads what reads such files
    tracemalloc.start()
    assert fit(Dump(name="d", data=both), section()) is None
    assert "has bytes at 0h to " in str(misfit(Dump(name="d", data=both), [section()]))
    assert fit(Dump(name="d", data=far), section()).data.tolist() == list(range(64))
    assert tracemalloc.get_traced_memory()[1] < 1 << 20
    tracemalloc.stop()


def test_a_few_bytes_beyond_16_mib_are_of_no_device(tmp_path):
    """24 bits of address are those of an S2 record; a whole dump may still begin further up."""
    for base, fits in ((0xFFFFC0, True), (0x1000000, False), (0xFFF0000, False)):
        held = fit(Dump(name="d", data=hex_of(b"\x12", base, tmp_path)), section())
        assert (held is not None) == fits
        assert held is None or (held.base, held.left_out) == (base, 63)
    assert str(misfit(Dump(name="a.hex", data=hex_of(b"\x12", 0xFFF0000, tmp_path)), [section()])) == (
        "a.hex: begins at FFF0000h, beyond 16 MiB, and holds only 1 of a device's bytes; "
        "save all of the chip from address 0"
    )
