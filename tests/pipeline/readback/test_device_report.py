import json

import numpy as np
import pytest

from ladderlight.readback.comparison import document_of_reports, report_on
from ladderlight.readback.dumps import Dump, readings_of
from ladderlight.readback.matching import match
from ladderlight.readback.sections import image_of, sections_of
from ladderlight_stages.emissions.binary import binary
from ladderlight_stages.emissions.intel_hex import intel_hex

KINDS = ("blank", "data_stuck", "data_swapped", "address_stuck", "address_inverted", "address_swapped", "shifted")


def exchanged(numbers, i, j):
    a, b = numbers >> i & 1, numbers >> j & 1
    return numbers & ~((1 << i) | (1 << j)) | a << j | b << i


def damaged(kind, data, random, *, pins=13, bits=8):
    """Inject a fault into the bytes of an 8-bit chip, written from its description and not from the code under test."""
    places, wide = np.arange(data.size), data.astype(np.int64)
    pin = int(random.integers(pins))
    bit = 1 << int(random.integers(bits))
    if kind == "blank":
        wide = np.full_like(wide, 0xFF)
    elif kind == "data_stuck":
        wide = wide | bit if random.integers(2) else wide & ~bit
    elif kind == "data_swapped":
        wide = exchanged(wide, *map(int, random.choice(bits, 2, replace=False)))
    elif kind == "address_stuck":
        wide = wide[places | 1 << pin] if random.integers(2) else wide[places & ~(1 << pin)]
    elif kind == "address_inverted":
        wide = wide[places ^ 1 << pin]
    elif kind == "address_swapped":
        wide = wide[exchanged(places, *map(int, random.choice(pins, 2, replace=False)))]
    elif kind == "shifted":
        distance = int(random.integers(1, 1500)) * (1 if random.integers(2) else -1)
        wide = np.roll(wide, distance)
        if random.integers(2):
            wide[slice(0, distance) if distance > 0 else slice(distance, None)] = 0xFF
    return wide.astype(np.uint8)


def reports(board, words, dumps, files=(), device=None):
    sections = sections_of(board, files)
    wanted = {"picture": words}
    images = {d.name: image_of(words[d.first_word : d.first_word + d.part.words], d) for d in board.devices}
    found = match([Dump(name=name, data=bytes(data)) for name, data in dumps], sections, wanted=images, device=device)
    return [report_on(board, reading, found, wanted) for reading in readings_of(found, sections)]


def named_rightly(kind, report):
    """Whether the fault is the first diagnosis, or level with it where both look the very same."""
    diagnoses = report.diagnoses
    return bool(diagnoses) and any(d.kind == kind for d in diagnoses if d.confidence == diagnoses[0].confidence)


def trials(run, seeds=20):
    """Run seeded trials; give how many showed a difference and in how many the fault was named."""
    shown = named = 0
    for seed in range(seeds):
        result = run(np.random.default_rng([seed, 7]))
        if result is not None:
            shown += 1
            named += result
    return shown, named


@pytest.mark.parametrize("kind", KINDS)
def test_a_fault_of_the_even_or_the_odd_chip_is_named(wide, photographs, contents_of, kind):
    """As two chips side by side; both are given in half of the trials, only the bad one in the others."""

    def run(random):
        words = photographs(wide, random)
        files = binary(contents_of(wide, words), wide, split="even_odd")
        image = image_of(words, wide.devices[0])
        lane, both = int(random.integers(2)), bool(random.integers(2))
        lanes = [image[::2], image[1::2]]
        bad = damaged(kind, lanes[lane], random, bits=4 if lane else 8)
        if (bad == lanes[lane]).all():
            return None
        dumps = [(f"picture-{('even', 'odd')[n]}.bin", bad if n == lane else lanes[n]) for n in range(2)]
        (report,) = reports(wide, words, dumps if both else [dumps[lane]], files)
        assert report.reading.complete == both
        assert report.count == int((bad != lanes[lane]).sum())
        assert [differing for _, differing in report.dumps if differing] == [report.count]
        return named_rightly(kind, report)

    shown, named = trials(run)
    assert shown >= 18
    assert named >= 0.95 * shown


@pytest.mark.parametrize("kind", KINDS)
def test_a_fault_of_a_chip_that_is_read_in_pieces_is_named(narrow, photographs, contents_of, kind):
    """All four pieces are given in half of the trials, in the others only one."""
    board = narrow()

    def run(random):
        words = photographs(board, random)
        files = binary(contents_of(board, words), board, size=2048)
        image = image_of(words, board.devices[0])
        bad = damaged(kind, image, random, bits=6)
        dumps = [(f"{n}/picture-{n}.rom", bad[n * 2048 : (n + 1) * 2048]) for n in range(4)]
        if not random.integers(2):
            at = int(random.integers(4))
            dumps = [dumps[at]]
            if (bad[at * 2048 : (at + 1) * 2048] == image[at * 2048 : (at + 1) * 2048]).all():
                return None
        elif (bad == image).all():
            return None
        (report,) = reports(board, words, dumps, files)
        assert report.reading.complete == (len(dumps) == 4)
        return named_rightly(kind, report)

    shown, named = trials(run, seeds=40)
    assert shown >= 26
    assert named >= 0.95 * shown


def test_the_lines_of_the_odd_chip_have_the_names_of_their_pins(wide, photographs, contents_of):
    words = photographs(wide, np.random.default_rng(1))
    files = binary(contents_of(wide, words), wide, split="even_odd")
    image = image_of(words, wide.devices[0])
    (report,) = reports(wide, words, [("picture-odd.bin", image[1::2] | 2)], files)
    assert report.diagnoses[0].text == "data line D9 (r1) stuck high"
    places = np.arange(8192)
    (report,) = reports(wide, words, [("picture-odd.bin", image[1::2][places & ~64])], files)
    assert report.diagnoses[0].text == "address line A6 (y4) stuck low"
    assert report.unread_text == "the even bytes (picture-even.bin); 8,192 of 16,384 bytes"


def test_two_chips_with_a_fault_each_are_each_diagnosed(wide, photographs, contents_of):
    words = photographs(wide, np.random.default_rng(1))
    files = binary(contents_of(wide, words), wide, split="even_odd")
    image = image_of(words, wide.devices[0])
    dumps = [("picture-even.bin", image[::2][np.arange(8192) ^ 8]), ("picture-odd.bin", image[1::2] & 0xFD)]
    (report,) = reports(wide, words, dumps, files)
    assert [d.text for d in report.diagnoses] == [
        "the even bytes: address line A3 (x7) inverted",
        "the odd bytes: data line D9 (r1) stuck low",
    ]
    assert [d.explained for d in report.diagnoses] == [1, 1]


def test_exchanged_even_and_odd_files_are_the_reversed_byte_order(wide, photographs, contents_of):
    words = photographs(wide, np.random.default_rng(2))
    files = binary(contents_of(wide, words), wide, split="even_odd")
    image = image_of(words, wide.devices[0])
    (report,) = reports(wide, words, [("picture-even.bin", image[1::2]), ("picture-odd.bin", image[::2])], files)
    assert report.diagnoses[0].kind == "piece_order"
    assert {d.kind for d in report.diagnoses} == {"byte_order", "piece_order"}
    assert (
        "the pieces are mixed up: picture-even.bin holds what belongs to picture-odd.bin, picture-odd.bin holds what "
        "belongs to picture-even.bin"
    ) in [d.text for d in report.diagnoses]


def test_pieces_in_a_wrong_order_are_said_to_be_mixed_up(narrow, photographs, contents_of):
    board = narrow()
    words = photographs(board, np.random.default_rng(3))
    files = binary(contents_of(board, words), board, size=2048)
    image = words.astype(np.uint8)
    order = (1, 2, 0, 3)
    dumps = [(f"picture-{n}.bin", image[at * 2048 : (at + 1) * 2048]) for n, at in enumerate(order)]
    (report,) = reports(board, words, dumps, files)
    kinds = {d.kind for d in report.diagnoses}
    assert "piece_order" in kinds
    assert kinds <= {"piece_order", "bank_order"}  # a bank is a piece here
    (report,) = reports(board, words, dumps[:1], files)
    texts = [d.text for d in report.diagnoses]
    assert "the pieces are mixed up: picture-0.bin holds what belongs to picture-1.bin" in texts


def test_a_good_piece_is_the_same_and_what_was_not_read_is_said(narrow, photographs, contents_of):
    board = narrow()
    words = photographs(board, np.random.default_rng(4))
    files = binary(contents_of(board, words), board, size=2048) + intel_hex(contents_of(board, words), board)
    (report,) = reports(board, words, [("picture-2.bin", words[4096:6144].astype(np.uint8))], files)
    assert report.same
    assert report.unread_text == (
        "bytes 0h to 7FFh (picture-0.bin), bytes 800h to FFFh (picture-1.bin), bytes 1800h to 1FFFh (picture-3.bin); "
        "6,144 of 8,192 bytes"
    )
    document = document_of_reports([report])
    json.dumps(document)
    assert (document["same"], document["complete"], document["unread_bytes"]) == (True, False, 6144)
    assert [item["device_files"] for item in document["unread"]] == [
        ["picture-0.bin"],
        ["picture-1.bin"],
        ["picture-3.bin"],
    ]
    (dump,) = document["dumps"]
    assert dump == {
        "file": "picture-2.bin",
        "format": "binary",
        "part": "bytes 1000h to 17FFh",
        "first": 4096,
        "bytes": 2048,
        "step": 1,
        "order": "little",
        "device_files": ["picture-2.bin"],
        "base": 0,
        "left_out": 0,
        "differing": 0,
        "note": "",
    }


def test_several_devices_are_accounted_for_one_by_one(narrow, photographs):
    board = narrow(chips=2)
    random = np.random.default_rng(5)
    words = np.concatenate([photographs(narrow(), random), photographs(narrow(), random)])
    image = words.astype(np.uint8)
    bad = image[8192:] & ~np.uint8(4)
    first, second = reports(board, words, [("b.bin", bad), ("a.bin", image[:8192])])
    assert (first.reading.device.name, first.same) == ("picture-0", True)
    assert second.diagnoses[0].text == "data line D2 (g0) stuck low"
    document = document_of_reports([first, second])
    assert document["same"] is False
    assert [device["device"] for device in document["devices"]] == ["picture-0", "picture-1"]
    assert [device["dumps"][0]["file"] for device in document["devices"]] == ["a.bin", "b.bin"]


def test_bytes_left_out_count_as_erased(narrow, photographs, contents_of):
    board = narrow()
    words = photographs(board, np.random.default_rng(6))
    (file,) = intel_hex(contents_of(board, words), board, offset=0x4000, leave_out_fill=True)
    (report,) = reports(board, words, [("chip.hex", file.data)])
    assert report.same
    assert report.dumps[0][0].base == 0x4000
    assert report.dumps[0][0].left_out > 1000
    short = b"".join(file.data.splitlines(keepends=True)[:-3]) + b":00000001FF\n"
    (report,) = reports(board, words, [("chip.hex", short)])
    assert not report.same


def test_what_a_dump_lacks_is_no_evidence(narrow, photographs):
    """One byte that is not erased, or none that is right, and the rest missing: neither blank nor unfinished."""
    board = narrow()
    words = photographs(board, np.random.default_rng(6))
    for byte in (int(words[0]), 0xFF):
        check = -(1 + byte) & 0xFF
        (report,) = reports(board, words, [("a.hex", f":01000000{byte:02X}{check:02X}\n:00000001FF\n".encode())])
        assert report.dumps[0][0].left_out == 8191
        assert report.count > 1000
        assert report.diagnoses == ()


def test_a_fault_in_what_a_sparse_dump_holds_is_found(narrow, photographs):
    board = narrow()
    words = photographs(board, np.random.default_rng(6))
    first = words[:1024].astype(np.uint8) | np.uint8(4)
    rows = []
    for at in range(0, 1024, 16):
        row = bytes([16, at >> 8, at & 0xFF, 0]) + first[at : at + 16].tobytes()
        rows.append(f":{row.hex().upper()}{-sum(row) & 0xFF:02X}\n")
    erased = np.where(np.arange(words.size) < 1024, words, 0xFF).astype(np.uint32)
    (report,) = reports(board, erased, [("a.hex", ("".join(rows) + ":00000001FF\n").encode())])
    assert report.diagnoses[0].text == "data line D2 (g0) stuck high"


@pytest.mark.parametrize(
    ("damage", "text"),
    [
        (lambda data: data ^ 2, "data line D1 (b1) inverted"),
        (lambda data: np.where(data & 0x18 == 0x18, data, data & 0xE7), "data lines D3 (g1) and D4 (r0) bridged, "),
        (lambda data: np.where(data & 0x0C, data | 0x0C, data), "data lines D2 (g0) and D3 (g1) bridged, and high"),
    ],
)
def test_inverted_and_bridged_data_lines_come_first(narrow, photographs, damage, text):
    board = narrow()
    words = photographs(board, np.random.default_rng(6))
    (report,) = reports(board, words, [("chip.bin", damage(words).astype(np.uint8))])
    first = report.diagnoses[0]
    assert first.text.startswith(text)
    assert (first.explained, round(first.confidence, 3)) == (1.0, 1.0)
