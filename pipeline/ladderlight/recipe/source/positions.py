"""Where the keys and values of a TOML text stand. Loaded only when a recipe has errors."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import tomli
import tree_sitter
import tree_sitter_toml

from ladderlight.stages.validation import KeyName

_TOKEN = re.compile(
    rb'"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{},\n]|(?<![\d:])\d\d:\d\d(?![\d:])',
    re.DOTALL,
)


@dataclass(kw_only=True, eq=False)
class _Place:
    """A key and its value: byte offsets, and the places inside the value."""

    key: int
    value: int
    keys: dict[str, "_Place"] = field(default_factory=dict)
    items: list["_Place"] = field(default_factory=list)


class Positions:
    """Lines and columns of one TOML text."""

    def __init__(self, text: str) -> None:
        """Index all keys and values of a text that tomli accepts."""
        self._source = text.encode()
        parser = tree_sitter.Parser(tree_sitter.Language(tree_sitter_toml.language()))
        self._root = _Place(key=0, value=0)
        table = self._root
        for node in _statements(parser.parse(_plain(self._source)).root_node):
            if node.type == "pair":
                self._add_pair(table, node)
            elif node.type in ("table", "table_array_element"):
                table = self._open(node)
                for inner in _statements(node):
                    if inner.type == "pair":
                        self._add_pair(table, inner)

    def of(self, where: tuple[str | int, ...]) -> tuple[int, int]:
        """Return line and column, from 1, of a value, or of the key when the path ends with a ``KeyName``.

        A path that leads further than the text does ends at the last part that is there.
        """
        place, offset = self._root, 0
        for part in where:
            inner = place.keys.get(part) if isinstance(part, str) else next(iter(place.items[part : part + 1]), None)
            if inner is None:
                break
            place, offset = inner, inner.key if isinstance(part, KeyName) else inner.value
        before = self._source[:offset].decode()
        return before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1

    def _add_pair(self, table: _Place, node: tree_sitter.Node) -> None:
        parts = [child for child in node.named_children if child.type != "comment"]
        *way, (last, at) = self._key(parts[0])
        for name, offset in way:
            table = table.keys.setdefault(name, _Place(key=offset, value=offset))
        table.keys[last] = place = _Place(key=at, value=parts[1].start_byte)
        self._add_value(place, parts[1])

    def _add_value(self, place: _Place, node: tree_sitter.Node) -> None:
        if node.type == "inline_table":
            for pair in _statements(node):
                self._add_pair(place, pair)
        elif node.type == "array":
            for inner in _statements(node):
                if inner.type != "comment":
                    place.items.append(_Place(key=inner.start_byte, value=inner.start_byte))
                    self._add_value(place.items[-1], inner)

    def _open(self, node: tree_sitter.Node) -> _Place:
        heading = next(child for child in node.named_children if child.type.endswith("_key"))
        table = self._root
        *way, (last, at) = self._key(heading)
        for name, offset in way:
            table = table.keys.setdefault(name, _Place(key=offset, value=offset))
            table = table.items[-1] if table.items else table
        known = last in table.keys
        place = table.keys.setdefault(last, _Place(key=at, value=node.start_byte))
        if node.type == "table_array_element":
            place.items.append(_Place(key=at, value=node.start_byte))
            return place.items[-1]
        if known:
            place.value = node.start_byte
        return place

    def _key(self, node: tree_sitter.Node) -> list[tuple[str, int]]:
        spans = [(part.start_byte, part.end_byte) for part in _bare_keys(node)]
        return [(next(iter(tomli.loads(f"{self._source[at:end].decode()} = 0"))), at) for at, end in spans]


def _statements(node: tree_sitter.Node) -> Iterator[tree_sitter.Node]:
    """Yield the named nodes inside a node, those in parts that the grammar does not understand included."""
    for child in node.named_children:
        if child.type == "ERROR":
            yield from _statements(child)
        else:
            yield child


def _bare_keys(node: tree_sitter.Node) -> Iterator[tree_sitter.Node]:
    if node.type == "dotted_key":
        for child in node.named_children:
            yield from _bare_keys(child)
    else:
        yield node


def _plain(source: bytes) -> bytes:
    """Replace what the grammar, which is that of TOML 1.0, would trip over, by as many bytes of something plain.

    In TOML 1.1 an inline table may span lines, contain comments and end with a comma, and a string has more escapes.
    """
    text = bytearray(source)
    depth = 0
    comma: int | None = None
    for match in _TOKEN.finditer(source):
        token, start, end = match[0], match.start(), match.end()
        if token[:1] in (b"#", b"\n"):
            if depth:
                text[start:end] = b" " * (end - start)
            continue
        if token[:1].isdigit():  # a time without seconds
            text[start:end] = b"10000"
        if token == b"}" and comma is not None and not source[comma + 1 : start].split(b"#")[0].strip():
            text[comma] = ord(" ")
        depth += (token == b"{") - (token == b"}")
        comma = start if token == b"," else None
        if token[:1] == b'"':
            text[start:end] = re.sub(rb"\\.", b"xx", token, flags=re.DOTALL)
    return bytes(text)
