import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intelhex import IntelHex

from ladderlight import DeviceFile, Span
from ladderlight.board import Device, Part
from ladderlight.errors import UsageError
from ladderlight.readback.dumps import Dump, readings_of
from ladderlight.readback.matching import match
from ladderlight.readback.sections import Section, image_of, sections_of
from ladderlight_stages.emissions.binary import binary
from ladderlight_stages.emissions.c_array import c_array
from ladderlight_stages.emissions.s_record import s_record
from ladderlight_stages.emissions.verilog_mem import verilog_mem


def images(board, words):
    return {d.name: image_of(words[d.first_word : d.first_word + d.part.words], d) for d in board.devices}


def names_of(found):
    return [held.section.name for held in found]


@pytest.fixture
def two(narrow, photographs):
    """Two chips one after another, and what they hold."""
    board = narrow(chips=2)
    random = np.random.default_rng(1)
    return board, np.concatenate([photographs(narrow(), random), photographs(narrow(), random)])


def dump(name, data):
    return Dump(name=name, data=data if isinstance(data, bytes) else data.astype(np.uint8).tobytes())


def test_the_device_is_the_one_named_the_only_one_or_that_of_the_file(two, narrow):
    board, words = two
    sections, wanted = sections_of(board, []), images(board, words)
    noise = np.random.default_rng(2).integers(0, 256, 8192, dtype=np.uint8)
    (held,) = match([dump("whatever.bin", noise)], sections_of(narrow(), []), wanted=wanted)
    assert held.section.device.name == "picture"
    (held,) = match([dump("dumps/picture-1.hex", noise)], sections, wanted=wanted)
    assert held.section.device.name == "picture-1"
    (held,) = match([dump("picture-1.bin", noise)], sections, wanted=wanted, device="picture-0")
    assert held.section.device.name == "picture-0"
    with pytest.raises(UsageError) as caught:
        match([dump("dump.bin", noise)], sections, wanted=wanted)
    assert str(caught.value) == (
        "dump.bin: cannot identify the device by name or content; add --device with one of picture-0, picture-1"
    )
    with pytest.raises(
        UsageError, match=r"devices 'picture-0' \(28C64\), 'picture-1' \(28C64\) take 8,192 each; check"
    ):
        match([dump("dump.bin", noise[1:])], sections, wanted=wanted)
    with pytest.raises(UsageError, match="no device 'picture-3'; did you mean"):
        match([dump("dump.bin", noise)], sections, wanted=wanted, device="picture-3")


def test_what_devices_held_before_tells_them_apart_where_nothing_else_does(two):
    board, words = two
    random = np.random.default_rng(7)
    before = images(board, random.integers(0, 256, words.size).astype(np.uint32))
    sections, wanted = sections_of(board, []), images(board, words)
    for name in before:
        with pytest.raises(UsageError, match="cannot identify the device"):
            match([dump("dump.bin", before[name])], sections, wanted=wanted)
        (held,) = match([dump("dump.bin", before[name])], sections, wanted=wanted, earlier=before)
        assert held.section.device.name == name
    (held,) = match(
        [dump("dump.bin", before["picture-1"])], sections, wanted=wanted, earlier={"picture-1": before["picture-1"]}
    )
    assert held.section.device.name == "picture-1"


def test_a_name_counts_more_than_the_content(two):
    """A chip mixed up with another is not taken for that other: its name says what it should be."""
    board, words = two
    (held,) = match([dump("picture-0.bin", words[8192:])], sections_of(board, []), wanted=images(board, words))
    assert held.section.device.name == "picture-0"


@pytest.mark.parametrize("seed", range(20))
def test_dumps_are_recognised_by_content_though_damaged(two, seed):
    board, words = two
    random = np.random.default_rng(seed)
    bit, pin = np.uint8(1 << int(random.integers(6))), 1 << int(random.integers(13))
    first, second = words[:8192].astype(np.uint8), words[8192:].astype(np.uint8)
    dumps = [dump("x", second | bit), dump("y", first[np.arange(8192) & ~pin])]
    found = match(dumps, sections_of(board, []), wanted=images(board, words))
    assert [held.section.device.name for held in found] == ["picture-1", "picture-0"]


def test_an_erased_chip_is_recognised_only_by_what_is_left(two):
    board, words = two
    sections, wanted = sections_of(board, []), images(board, words)
    blank = dump("x.bin", np.full(8192, 0xFF, dtype=np.uint8))
    with pytest.raises(UsageError, match=r"x\.bin: cannot identify the device"):
        match([blank], sections, wanted=wanted)
    found = match([blank, dump("y.bin", words[8192:])], sections, wanted=wanted)
    assert [held.section.device.name for held in found] == ["picture-0", "picture-1"]


@settings(max_examples=25, deadline=None)
@given(st.permutations(range(8)), st.sampled_from(["little", "big"]), st.sampled_from([binary, s_record]))
def test_good_dumps_of_all_pieces_are_recognised_in_any_order(permuted, order, emission):
    """Even and odd bytes in four pieces each, of random words, in files that say nothing by their names."""
    device = Device(name="chip", memory="chip", part=Part(number="wide", words=1024, width=16), index=0)
    words = np.random.default_rng(8).integers(0, 1 << 16, 1024, dtype=np.uint32)
    board, contents = _one(device, words)
    files = emission(contents, board, split="even_odd", size=256, order=order, name="{piece}.x")
    sections = sections_of(board, files)
    dumps = [dump(f"d{n}", files[n].data) for n in permuted]
    found = match(dumps, sections, wanted={"chip": image_of(words, device)})
    assert names_of(found) == [files[n].name for n in permuted]
    (reading,) = readings_of(found, sections)
    assert reading.complete
    assert (reading.words == words).all()


def _one(device, words):
    from types import SimpleNamespace

    from ladderlight import Contents, MemoryContents

    contents = Contents(memories={"chip": MemoryContents(words=words, written=words)})
    return SimpleNamespace(devices=(device,)), contents


def test_what_one_device_may_be_read_as(wide, photographs, contents_of):
    words = photographs(wide, np.random.default_rng(3))
    files = binary(contents_of(wide, words), wide, order="big") + s_record(contents_of(wide, words), wide, size=4096)
    sections = sections_of(wide, files)
    assert [(s.label, s.span.order, s.files) for s in sections] == [
        ("all of it", "big", ("picture.bin",)),
        ("all of it", "little", ()),
        *((f"bytes {n * 4096:X}h to {n * 4096 + 4095:X}h", "little", (f"picture-{n}.srec",)) for n in range(4)),
        ("the even bytes", "big", ()),
        ("the odd bytes", "big", ()),
    ]
    image = image_of(words, wide.devices[0])
    assert (image[sections[0].places] == words.astype(">u2").view(np.uint8)).all()
    assert (image[sections[-1].places] == (words & 0xFF)).all()
    assert {s.span.order for s in sections_of(wide, files, "little")} == {"little"}


def test_a_whole_dump_is_taken_in_the_byte_order_of_the_files(wide, photographs, contents_of):
    """In the other one it is another content, to be diagnosed and not to be explained away, unless a file has it."""
    words = photographs(wide, np.random.default_rng(4))
    contents, wanted = contents_of(wide, words), {"picture": image_of(words, wide.devices[0])}
    big = dump("d", words.astype(">u2").tobytes())
    little_files = binary(contents, wide)
    (held,) = match([big], sections_of(wide, little_files), wanted=wanted)
    assert held.section.span.order == "little"
    (held,) = match([big], sections_of(wide, little_files, "big"), wanted=wanted)
    assert held.section.span.order == "big"
    both = [*little_files, *s_record(contents, wide, order="big")]
    for order in ("<u2", ">u2"):
        (held,) = match([dump("d", words.astype(order).tobytes())], sections_of(wide, both), wanted=wanted)
        assert held.section.span.order == {"<": "little", ">": "big"}[order[0]]


def test_an_erased_chip_is_no_riddle_where_files_have_both_byte_orders(wide, photographs, contents_of):
    words = photographs(wide, np.random.default_rng(9))
    files = binary(contents_of(wide, words), wide, name="little.bin")
    files += binary(contents_of(wide, words), wide, name="big.bin", order="big")
    sections, wanted = sections_of(wide, files), images(wide, words)
    erased = np.full(wide.devices[0].part.bytes, 0xFF, dtype=np.uint8)
    for name, order in (("chip.bin", "little"), ("little.bin", "little"), ("dumps/big.bin", "big")):
        (held,) = match([dump(name, erased)], sections, wanted=wanted)
        assert held.section.whole
        assert held.section.span.order == order


def test_reversed_bytes_do_not_hide_which_device_it_is(make_board, memory, photographs, wide, ladder):
    board = make_board(
        memory(
            address=["x4-x9", "y4-y8", "bank0-bank2"],
            data=["b0-b3", "g0-g3", "r0-r3"],
            part=Part(number="wide", words=8192, width=16),
            chips=2,
        ),
        ladder=wide.ladder,
    )
    random = np.random.default_rng(5)
    words = np.concatenate([photographs(wide, random), photographs(wide, random)])
    (held,) = match(
        [dump("d", words[8192:].astype(">u2").tobytes())], sections_of(board, []), wanted=images(board, words)
    )
    assert (held.section.device.name, held.section.span.order) == ("picture-1", "little")


def test_even_and_odd_are_told_by_content_or_asked_for(wide, photographs, contents_of):
    words = photographs(wide, np.random.default_rng(6))
    wanted = {"picture": image_of(words, wide.devices[0])}
    files = binary(contents_of(wide, words), wide, split="even_odd")
    sections = sections_of(wide, files)
    odd = wanted["picture"][1::2]
    assert names_of(match([dump("d", odd ^ (odd & 1))], sections, wanted=wanted)) == ["picture-odd.bin"]
    noise = np.random.default_rng(7).integers(0, 256, 8192, dtype=np.uint8)
    with pytest.raises(UsageError) as caught:
        match([dump("d.bin", noise)], sections, wanted=wanted)
    assert str(caught.value) == (
        "d.bin: cannot identify the part of device 'picture' by name or content: picture-even.bin or picture-odd.bin;"
        " name the dump after the file, such as picture-even.bin"
    )
    assert names_of(match([dump("d.bin", noise), dump("e.bin", odd)], sections, wanted=wanted)) == [
        "picture-even.bin",
        "picture-odd.bin",
    ]
    assert names_of(match([dump("x/picture-even.rom", noise)], sections, wanted=wanted)) == ["picture-even.bin"]


def test_one_dump_in_two_formats_is_no_contradiction_but_two_contents_are(wide, photographs, contents_of):
    words = photographs(wide, np.random.default_rng(9))
    wanted = {"picture": image_of(words, wide.devices[0])}
    files = binary(contents_of(wide, words), wide, split="even_odd")
    sections = sections_of(wide, files)
    even = wanted["picture"][::2]
    twice = [dump("a", even), dump("b", wanted["picture"][1::2]), dump("c", even)]
    (reading,) = readings_of(match(twice, sections, wanted=wanted), sections)
    assert reading.complete
    other = [dump("d/picture-even.bin", even), dump("e/picture-even.bin", even ^ 1)]
    with pytest.raises(
        UsageError, match=r"picture-even\.bin, and differ from each other in 8,192 bytes; give them one"
    ):
        readings_of(match(other, sections, wanted=wanted), sections)
    changed = [*twice[:2], dump("c.bin", even ^ 1)]
    with pytest.raises(UsageError, match=r"c\.bin: can only hold what is in a, b already; leave one of them out"):
        match(changed, sections, wanted=wanted)


def test_lists_of_words_and_of_bytes_are_told_apart(wide, photographs, contents_of):
    """A list of bytes may be one of words as well, whose upper halves are zero; what it holds tells."""
    words = photographs(wide, np.random.default_rng(10))
    contents = contents_of(wide, words)
    wanted = {"picture": image_of(words, wide.devices[0])}
    for emission in (verilog_mem, c_array):
        files = [*emission(contents, wide, name="whole.x"), *emission(contents, wide, split="even_odd")]
        sections = sections_of(wide, files)
        for file in files:
            assert names_of(match([dump("d", file.data)], sections, wanted=wanted)) == [file.name]


def hex_of(data, base, folder):
    """Intel HEX by the library intelhex."""
    writer = IntelHex()
    writer.frombytes(data, base)
    writer.write_hex_file(str(folder / "x.hex"))
    return (folder / "x.hex").read_bytes()


def test_the_addresses_of_a_piece_in_its_device_tell_which_it_is(wide, photographs, contents_of, tmp_path):
    """Whether it is recognised by what it holds or not, and whether what it should hold is known or not."""
    words = photographs(wide, np.random.default_rng(12))
    sections = sections_of(wide, binary(contents_of(wide, words), wide, size=4096))
    wanted = {"picture": image_of(words, wide.devices[0])}
    blank = b"\xff" * 4096
    for piece in (1, 2, 3):
        held = dump("d", hex_of(blank, piece * 4096, tmp_path))
        assert names_of(match([held], sections, wanted=wanted)) == [f"picture-{piece}.bin"]
        assert names_of(match([held], sections)) == [f"picture-{piece}.bin"]
    with pytest.raises(UsageError, match=r"cannot identify the part of device 'picture'"):
        # 0 is where every dump begins
        match([dump("d", hex_of(blank, 0, tmp_path))], sections, wanted=wanted)


def test_a_gapless_dump_of_half_the_size_is_the_device_with_the_rest_left_out(wide, tmp_path):
    """Rather than even bytes, of which no file is."""
    half = bytes(range(256)) * 32
    (held,) = match([dump("d", hex_of(half, 0, tmp_path))], sections_of(wide, []))
    assert (held.section.whole, held.left_out) == (True, 8192)
    (even,) = match([dump("d", half)], sections_of(wide, []))
    assert even.section.label == "the even bytes"


def test_of_many_parts_only_some_are_named(wide, photographs, contents_of):
    words = photographs(wide, np.random.default_rng(11))
    sections = sections_of(wide, binary(contents_of(wide, words), wide, size=1024))
    wanted = {"picture": image_of(words, wide.devices[0])}
    with pytest.raises(
        UsageError, match=r"picture-0\.bin, picture-1\.bin, picture-2\.bin, picture-3\.bin or another; "
    ):
        match([dump("d", np.zeros(1024))], sections, wanted=wanted)


def test_spare_bits_of_the_last_byte_do_not_count():
    device = Device(name="chip", memory="chip", part=Part(number="nibbles", words=64, width=4), index=0)
    section = Section(device=device, span=Span(count=64))
    words = np.arange(64, dtype=np.uint32) & 15
    found = match([dump("a", words), dump("b", words | 0xF0)], [section])
    (reading,) = readings_of(found, [section])
    assert (reading.words == words).all()


def test_files_in_folders_of_their_own_are_told_by_their_device_only():
    """A stem that files of two devices share names neither."""
    parts = [Device(name=f"chip-{n}", memory="chip", part=Part(number="p", words=64, width=8), index=n) for n in (0, 1)]
    from types import SimpleNamespace

    files = [DeviceFile(device=f"chip-{n}", name=f"chip-{n}/rom.bin", data=b"", span=Span()) for n in (0, 1)]
    sections = sections_of(SimpleNamespace(devices=tuple(parts)), files)
    images_ = {f"chip-{n}": np.random.default_rng(n).integers(0, 256, 64, dtype=np.uint8) for n in (0, 1)}
    (held,) = match([dump("rom.bin", images_["chip-1"])], sections, wanted=images_)
    assert held.section.name == "chip-1/rom.bin"


@pytest.mark.parametrize("base", [0, 0x40])
def test_a_dump_of_another_name_stands_at_the_address_at_which_it_agrees_best(narrow, photographs, tmp_path, base):
    board = narrow()
    words = photographs(board, np.random.default_rng(6))
    device = board.devices[0]
    section = Section(device=device, span=Span(), files=("chip.bin", "chip.hex"), offsets=(0, 0x40))
    part = hex_of(words[64:2048].astype(np.uint8), base + 64, tmp_path)
    (held,) = match([dump("read.txt", part)], [section], wanted=images(board, words))
    assert held.base == base
    assert held.at[0] == 64
