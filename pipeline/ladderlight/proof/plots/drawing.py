"""The few SVG elements that the plots are made of, each as text.

Colours are the page's custom properties, so that a plot follows its light and its dark scheme.
"""

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from math import floor, log10
from typing import Literal

INK, MUTED, LINE, ACCENT, WARN = "currentColor", "var(--muted)", "var(--line)", "var(--accent)", "var(--warn)"

WIDTH = 360
"""Width of every plot in its own units: about the pixels of a small phone, so that words are legible there."""

Anchor = Literal["start", "middle", "end"]

_SQUARE = 8.0
_WIDEST = 0.62  # width of a character in sizes of the font, as in the widest of the usual ones


def drawing(height: float, label: str, parts: Iterable[str]) -> str:
    """Put elements together to one ``<svg>`` of the common width; ``label`` says in words what it shows."""
    body = "\n".join(parts)
    return (
        f'<svg class="plot" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {number(height)}" role="img" '
        f'aria-label="{escape(label)}" font-family="ui-sans-serif, system-ui, sans-serif">\n{body}\n</svg>\n'
    )


def rectangle(
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    fill: str,
    stroke: str = "",
    opacity: float = 1.0,
    title: str = "",
) -> str:
    """Draw a rectangle; ``title`` shows when one points at it."""
    inside = f"<title>{escape(title)}</title>" if title else ""
    shade = f' fill-opacity="{number(opacity)}"' if opacity < 1 else ""
    edge = f' stroke="{stroke}"' if stroke else ""
    return (
        f'<rect x="{number(x)}" y="{number(y)}" width="{number(max(width, 0))}" height="{number(max(height, 0))}" '
        f'fill="{fill}"{shade}{edge}>{inside}</rect>'
    )


def line(x1: float, y1: float, x2: float, y2: float, *, stroke: str = INK, width: float = 1.0, dash: str = "") -> str:
    """Draw a straight line; ``dash`` as in ``stroke-dasharray``."""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}" stroke="{stroke}" '
        f'stroke-width="{number(width)}"{dashes}/>'
    )


def trace(points: Sequence[tuple[float, float]], *, stroke: str = INK, width: float = 1.5) -> str:
    """Draw an open line through points."""
    path = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return f'<polyline points="{path}" fill="none" stroke="{stroke}" stroke-width="{number(width)}"/>'


def dot(x: float, y: float, radius: float, *, fill: str, title: str = "") -> str:
    """Draw a dot with a rim, so that it can be seen on paper and on a dark page."""
    inside = f"<title>{escape(title)}</title>" if title else ""
    return (
        f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{fill}" stroke="{INK}">{inside}</circle>'
    )


def text(
    x: float, y: float, words: str, *, anchor: Anchor = "start", size: float = 11, fill: str = INK, bold: bool = False
) -> str:
    """Write words at a place. A page's own style for text is overruled."""
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{number(x)}" y="{number(y)}" text-anchor="{anchor}" font-size="{number(size)}"{weight} '
        f'style="fill:{fill};stroke:none;font-variant-numeric:tabular-nums">{escape(words)}</text>'
    )


def heading(words: str, verdict: str, *, top: float = 0.0, warn: bool = False) -> Iterator[str]:
    """Write what a plot shows, and below it what follows from it, in 34 units of the height."""
    yield text(0, top + 13, words, size=13, bold=True)
    yield text(0, top + 29, verdict, size=12, fill=WARN if warn else MUTED, bold=warn)


def key(x: float, y: float, words: str, *, fill: str) -> Iterator[str]:
    """Write words after a square of the colour that they explain."""
    yield rectangle(x, y - _SQUARE, _SQUARE, _SQUARE, fill=fill, stroke=MUTED)
    yield text(x + _SQUARE + 5, y, words)


def keys(y: float, entries: Sequence[tuple[str, str]]) -> tuple[list[str], float]:
    """Write keys, each words and a colour, in as many rows as they need; return them and where they end."""
    parts, x = list[str](), 0.0
    for words, fill in entries:
        wide = _SQUARE + 5 + width_of(words)
        if x and x + wide > WIDTH:
            x, y = 0.0, y + 15
        parts += key(x, y, words, fill=fill)
        x += wide + 10
    return parts, y


def width_of(words: str, size: float = 11) -> float:
    """Return about how wide words are, rather too much than too little."""
    return _WIDEST * size * len(words)


def round_step(span: float, most: int) -> float:
    """Return a round step, 1, 2 or 5 times a power of ten, of which at most ``most`` fit into a span."""
    decade = floor(log10(span / most))
    steps = (float(f"{factor}e{power}") for power in (decade, decade + 1) for factor in (1, 2, 5))
    return next(step for step in steps if span / step <= most * (1 + 1e-9))


def scale(y: float, span: float, step: float, unit: float, title: str) -> Iterator[str]:
    """Draw an axis over the whole width from 0 to ``span`` with figures in ``unit`` at each ``step``, and its title."""
    yield line(0, y, WIDTH, y, stroke=MUTED)
    for tick in range(int(span / step * (1 + 1e-9)) + 1):
        x = tick * step / span * WIDTH
        words = f"{tick * step / unit:g}"
        half = width_of(words) / 2
        anchor: Anchor = "start" if x < half else "end" if x > WIDTH - half else "middle"
        yield line(x, y, x, y + 4, stroke=MUTED)
        yield text(x, y + 15, words, anchor=anchor, fill=MUTED)
    yield text(WIDTH / 2, y + 29, title, anchor="middle", fill=MUTED)


def number(value: float) -> str:
    """Write a coordinate with at most two decimals, the same on every machine."""
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
