from __future__ import annotations

from pathlib import Path

import pytest

from ladderlight.recipe.source.document import UnreadableError, read_document


def complaint(path: Path, raw: bytes) -> str:
    path.write_bytes(raw)
    with pytest.raises(UnreadableError) as caught:
        read_document(path, "x.toml")
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (
            "clock = 25.175 MHz\n",
            "1:16: something is left over at the end of the line; put a text in quotes; one key to a line",
        ),
        ("a = 1\nb = True\n", "2:5: this is not a value; put a text in quotes; write true and false in small letters"),
        ("a = \n", "1:5: this is not a value; put a text in quotes; write true and false in small letters"),
        ("a = 1\na = 2\n", "2:6: this key has a value already; keep one of the two"),
        ("[b]\n[b]\n", "2:3: [b] is there already; put its keys together under one heading"),
        ("[stage]\n[stage]\n", "2:7: [stage] is there already; write [[stage]], with two brackets, for each"),
        (
            "[[board.memory]]\n[board.memory]\n",
            "2:14: [board.memory] is there already; write [[board.memory]], with two brackets, for each",
        ),
        ("a.b = 1\n[a]\n", "2:3: [a] is there already; put its keys together under one heading"),
        ("a 5\n", '1:3: a key must be followed by =; write key = "value"'),
        ("hello", '1:6: a key must be followed by =; write key = "value"'),
        ("[board\n", "1:7: the heading is not closed; end it with as many ] as it begins with ["),
        ("[[stage]\n", "1:8: the heading is not closed; end it with as many ] as it begins with ["),
        ('a = ["x", "y"\nb = 1\n', "2:1: the list is not closed; put a comma between entries and ] at the end"),
        ("a = { b = 1\nc = 2 }\n", "2:1: the table is not closed; put a comma between keys and } at the end"),
        ('a = "x\n', "1:5: the text is not closed; end it with the quote that it begins with"),
        ("a = 'x\nb = 1\n", "1:5: the text is not closed; end it with the quote that it begins with"),
        ('a = """x\n', "1:5: the text is not closed; end it with the quote that it begins with"),
        (
            'a = "pictures\\*.jpg"\n',
            "1:14: a \\ in double quotes begins an escape; put the text in single quotes or write \\\\",
        ),
        ('a = "\x07"\n', "1:6: a character that cannot be seen must not be there; delete it"),
        ("part = \u201c27C010\u201d\n", '1:8: \u201c is not a quote of TOML; use straight quotes, "'),
        ("= 3\n", '1:1: this is neither a key nor a heading; write key = "value" or [heading]'),
        ("a.= 3\n", '1:3: this is not a key; write key = "value"; put an unusual key in quotes'),
    ],
)
def test_what_is_no_toml(tmp_path: Path, text: str, line: str) -> None:
    assert complaint(tmp_path / "x.toml", text.encode()) == f"x.toml:{line}"


def test_text_in_another_encoding(tmp_path: Path) -> None:
    raw = 'a = 1\nname = "Caf\u00e9"\n'.encode("latin-1")
    assert complaint(tmp_path / "x.toml", raw) == "x.toml:2:12: not UTF-8 text; save it as UTF-8"


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    def said_of(path: Path) -> str:
        with pytest.raises(UnreadableError) as caught:
            read_document(path, "x")
        return str(caught.value)

    assert said_of(tmp_path / "x.toml") == "x: there is no such file; check the path"
    assert said_of(tmp_path / "y" / "x.toml") == "x: there is no such file; check the path"
    assert said_of(tmp_path) == "x: there is no recipe.toml in this folder; name a recipe, or the folder of one"
    (tmp_path / "lobby.toml").touch()
    assert said_of(tmp_path) == "x: there is no recipe.toml in this folder; name lobby.toml in it"
    (tmp_path / "lobby.toml").unlink()
    (tmp_path / "recipe.toml").touch()
    assert said_of(tmp_path / "recip.toml") == "x: there is no such file; did you mean 'recipe.toml'?"
    assert said_of(tmp_path) == "x: this is a folder; name recipe.toml in it"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = 'x\n'\n", "1:5: the text is not closed; end it with the quote that it begins with"),
        ("a = '''x\n", "1:5: the text is not closed; end it with the quotes that it begins with"),
        ("# \x01\n", "1:3: a character that cannot be seen must not be there; delete it"),
        (
            'a = "\\xg"\n',
            "1:8: an escape lacks hexadecimal digits; write four after \\u",
        ),
        ('a = "\\uD800"\n', "1:12: the escape is not a character; write \\\\ for a backslash"),
        ("a = 2026-02-30\n", "1:5: this is not a date or time; put a text in quotes"),
    ],
)
def test_rare_mistakes_are_in_our_words_too(tmp_path: Path, text: str, line: str) -> None:
    assert complaint(tmp_path / "x.toml", text.encode()) == f"x.toml:{line}"


@pytest.mark.parametrize("raw", [b"\xef\xbb\xbfa = 1\r\nb = 2\r\n", b"a = 1\nb = 2\n"])
def test_line_ends_and_byte_order_marks_do_not_matter(tmp_path: Path, raw: bytes) -> None:
    (tmp_path / "x.toml").write_bytes(raw)
    document = read_document(tmp_path / "x.toml", "x.toml")
    assert document.data == {"a": 1, "b": 2}
    assert document.positions.of(("b",)) == (2, 5)


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 300 + "]" * 300,
        "a = " + "{a=" * 3000 + "1" + "}" * 3000,
        ".".join(["a"] * 50) + " = 1",
        "a = " + "9" * 5000,
    ],
    ids=["lists", "tables", "keys", "digits"],
)
def test_what_cannot_be_a_recipe(tmp_path: Path, text: str) -> None:
    assert complaint(tmp_path / "x.toml", text.encode()) == (
        "x.toml:1:1: something in this file is nested too deeply, or a number has too many digits;"
        " is this the right file?"
    )
