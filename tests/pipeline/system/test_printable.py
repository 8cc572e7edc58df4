"""Text that may reach a terminal, a sheet or a page."""

from __future__ import annotations

import json
import os
import unicodedata
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from ladderlight.system.printable import json_text, printable, printable_values

NASTY = "a\x1b[31m\r\nb\x9b\u202e\u2066\u2028\x7f\t" + os.fsdecode(b"\xff")


def test_nothing_acts_and_it_can_be_read_what_was_there() -> None:
    assert printable(NASTY) == r"a\x1b[31m\r\nb\x9b\u202e\u2066\u2028\x7f\t\xff"
    assert printable("Möwe 灯台 😀 a\u200db.png") == "Möwe 灯台 😀 a\u200db.png"


def test_no_control_and_no_turning_of_direction_is_left() -> None:
    """Bidirectional classes as the Unicode database of Python has them (Annex 9, table 4)."""
    turning = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
    for code in range(0x110000):
        letter = chr(code)
        acts = unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") or unicodedata.bidirectional(letter) in turning
        assert not acts or printable(letter).isascii(), f"U+{code:04X}"


def test_plain_values_are_made_printable_all_through() -> None:
    value = {"a": [NASTY, 1, None, {"b": (NASTY,)}]}
    shown = printable(NASTY)
    assert printable_values(value) == {"a": [shown, 1, None, {"b": [shown]}]}


def test_a_document_keeps_its_values_and_can_be_printed() -> None:
    text = json_text({"name": NASTY, "letters": "é灯"})
    assert json.loads(text) == {"name": NASTY, "letters": "é灯"}
    assert printable(text.replace("\n", "")) == text.replace("\n", "")
    assert "é灯" in text
    text.encode()


PLAIN = st.none() | st.booleans() | st.integers() | st.floats() | st.text(st.characters(exclude_categories=["C", "Z"]))


@given(
    st.recursive(
        PLAIN, lambda inner: st.lists(inner, max_size=3) | st.tuples(inner) | st.dictionaries(PLAIN, inner, max_size=3)
    )
)
def test_a_document_is_written_as_by_python_itself(value: Any) -> None:
    assert json_text(value) == json.dumps(value, indent=2, ensure_ascii=False) + "\n"
