from __future__ import annotations

import pytest

from ladderlight.board import PART_NAMES, PARTS, Packing, Part


@pytest.mark.parametrize(
    ("number", "words", "width", "pins", "size", "erasure", "block"),
    [
        ("2716", 2048, 8, 11, 2048, "ultraviolet", 1),
        ("27C010", 131_072, 8, 17, 131_072, "ultraviolet", 1),
        ("27C080", 1_048_576, 8, 20, 1_048_576, "ultraviolet", 1),
        ("27C1024", 65_536, 16, 16, 131_072, "ultraviolet", 1),
        ("27C4002", 262_144, 16, 18, 524_288, "ultraviolet", 1),
        ("28C256", 32_768, 8, 15, 32_768, "bytes", 64),
        ("29F040", 524_288, 8, 19, 524_288, "sectors", 65_536),
        ("39SF010A", 131_072, 8, 17, 131_072, "sectors", 4096),
    ],
)
def test_parts(number: str, words: int, width: int, pins: int, size: int, erasure: str, block: int) -> None:
    part = PARTS[number]
    assert part.number == number
    assert (part.words, part.width, part.address_pins, part.bytes) == (words, width, pins, size)
    assert (part.erasure, part.block) == (erasure, block)


def test_the_table_of_parts_is_complete() -> None:
    """Generic JEDEC-type numbers, kibiwords by bits."""
    eight = {
        2: "2716 28C16",
        4: "2732",
        8: "2764 28C64",
        16: "27128",
        32: "27C256 28C256",
        64: "27C512",
        128: "27C010 28C010 29F010 39SF010A",
        256: "27C020 39SF020A",
        512: "27C040 29F040 39SF040",
        1024: "27C080",
    }
    table = {number: (size * 1024, 8) for size, numbers in eight.items() for number in numbers.split()}
    table |= {"27C1024": (64 * 1024, 16), "27C4002": (256 * 1024, 16)}
    assert {number: (part.words, part.width) for number, part in PARTS.items()} == table


def test_a_part_of_four_bits_takes_a_byte_a_word() -> None:
    assert Part(number="narrow", words=256, width=4).bytes == 256


def test_chips_in_a_row(memory) -> None:
    two = memory(address=["x0-x8"], data=["r0"], part="27C010", chips=2)
    assert two.words == 262_144
    assert two.address_pins == 18
    assert [(device.name, device.first_word) for device in two.devices] == [("picture-0", 0), ("picture-1", 131_072)]


def test_one_chip_is_called_like_its_memory(memory) -> None:
    (device,) = memory(address=["x0"], data=["r0"]).devices
    assert device.name == "picture"


def test_fill_is_all_ones_unless_given(memory) -> None:
    assert memory(address=["x0"], data=["r0"]).fill_word == 0xFF
    assert memory(address=["x0"], data=["r0"], part="27C1024").fill_word == 0xFFFF
    assert memory(address=["x0"], data=["r0"], fill=0).fill_word == 0


@pytest.mark.parametrize(
    ("pixels", "order", "shifts"),
    [
        (1, "msb_first", [0]),
        (2, "msb_first", [4, 0]),
        (2, "lsb_first", [0, 4]),
        (4, "msb_first", [6, 4, 2, 0]),
        (8, "msb_first", [7, 6, 5, 4, 3, 2, 1, 0]),
        (8, "lsb_first", [0, 1, 2, 3, 4, 5, 6, 7]),
    ],
)
def test_where_each_pixel_stands_in_a_word(memory, pixels: int, order: str, shifts: list[int]) -> None:
    packed = memory(address=["x3-x9"], data=["r0"], packing=Packing(pixels=pixels, order=order))
    assert packed.pixel_width == 8 // pixels
    assert [packed.shift_of(slot) for slot in range(pixels)] == shifts
    assert 1 << packed.packing.select_bits == pixels


def test_grades() -> None:
    """27C parts come in 45 to 250 ns, 28C256 in 150 to 350 ns, 39SF040 in 55 and 70 ns (from memory)."""
    grades = [grade for number, part in PARTS.items() if number.startswith("27C") for grade in part.grades]
    assert (min(grades), max(grades)) == (45e-9, 250e-9)
    assert (PARTS["28C256"].grades[0], PARTS["28C256"].grades[-1]) == pytest.approx((150e-9, 350e-9))
    assert PARTS["39SF040"].grades == pytest.approx((55e-9, 70e-9))
    for part in PARTS.values():
        assert list(part.grades) == sorted(part.grades)


def test_the_slowest_grade_that_does() -> None:
    part = PARTS["39SF040"]
    assert part.grade_within(69e-9) == pytest.approx(55e-9)
    assert part.grade_within(1e-6) == pytest.approx(70e-9)
    assert part.grade_within(50e-9) is None


def test_other_numbers_lead_to_the_same_part() -> None:
    assert (PART_NAMES["27C64"], PART_NAMES["27C128"]) == (PARTS["2764"], PARTS["27128"])
    assert PART_NAMES["27C1001"] is PARTS["27C010"]
    assert len(PART_NAMES) == len(PARTS) + sum(len(part.aliases) for part in PARTS.values())
