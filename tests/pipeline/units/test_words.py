from __future__ import annotations

import pytest

from ladderlight.units.words import address, frequency, in_words, joined, nanoseconds, percent


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (25_175_000, "25.175 MHz"),
        (31_468.75, "31.46875 kHz"),
        (59.94048, "59.94048 Hz"),
        (0, "0 Hz"),
        (1e6, "1 MHz"),
        (999_999.99, "1 MHz"),
    ],
)
def test_frequencies(value: float, words: str) -> None:
    assert frequency(value) == words


@pytest.mark.parametrize(
    ("share", "words"), [(0.0, "0 %"), (0.0999, "9 %"), (0.29, "29 %"), (0.7552, "75 %"), (1.0, "100 %")]
)
def test_shares_are_rounded_down(share: float, words: str) -> None:
    assert percent(share) == words


def test_other_units() -> None:
    assert in_words(0.0067, "A") == "6.7 mA"
    assert in_words(-0.02, "V") == "-20 mV"
    assert nanoseconds(158.888e-9) == "158.9 ns"
    assert nanoseconds(2.5e-6) == "2500.0 ns"


def test_joined_reads_like_a_sentence() -> None:
    assert joined([]) == ""
    assert joined(["a"]) == "a"
    assert joined(["a", "b"]) == "a and b"
    assert joined(["a", "b", "c"], "or") == "a, b or c"


@pytest.mark.parametrize(
    ("at", "count", "words"),
    [(0, 1 << 10, "0000h"), (0xFFFF, 1 << 16, "FFFFh"), (11, 1 << 17, "0000Bh"), (11, 1 << 21, "00000Bh")],
)
def test_addresses_of_a_memory_are_equally_wide(at: int, count: int, words: str) -> None:
    assert address(at, count) == words
