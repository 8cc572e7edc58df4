"""Reading plots back."""

from __future__ import annotations

import re
from collections.abc import Callable
from xml.etree import ElementTree as Xml

import pytest

Svg = Xml.Element
NAMESPACE = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def read() -> Callable[[str], Svg]:
    """Parse a plot, which must be one well-formed SVG that loads nothing."""

    def parse(text: str) -> Svg:
        assert text.count("<svg") == 1
        assert all(address.startswith("data:image/png;base64,") for address in re.findall('href="([^"]*)', text))
        assert "url(" not in text
        root = Xml.fromstring(text)
        assert root.tag == f"{NAMESPACE}svg"
        assert root.get("role") == "img"
        assert root.get("aria-label")
        return root

    return parse


@pytest.fixture
def every() -> Callable[[Svg, str], list[Svg]]:
    """List the elements of a kind in drawing order."""
    return lambda root, tag: list(root.iter(NAMESPACE + tag))


@pytest.fixture
def words() -> Callable[[Svg], list[str]]:
    """List what is written in a plot."""
    return lambda root: ["".join(text.itertext()) for text in root.iter(f"{NAMESPACE}text")]
