"""The few SVG elements that the plots are made of, each as text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import Literal

PAPER, INK, QUIET, RULE, WASH = "var(--paper)", "var(--ink)", "var(--muted)", "var(--line)", "var(--wash)"
TEAL, AMBER, RED = "var(--accent)", "var(--warn)", "var(--error)"

WIDTH = 720
"""Width of every plot in its own units."""

Anchor = Literal["start", "middle", "end"]


def drawing(height: float, label: str, parts: Iterable[str]) -> str:
    """Put elements together to one ``<svg>`` of the common width; ``label`` says in words what it shows."""
    size = f"0 0 {WIDTH} {number(height)}"
    style = (
        'style="display:block;width:100%;height:auto;print-color-adjust:exact;-webkit-print-color-adjust:exact" '
        'font-family="ui-sans-serif, system-ui, sans-serif"'
    )
    body = "\n".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{size}" role="img" aria-label="{escape(label)}" {style}>\n'
        f"{body}\n</svg>\n"
    )


def rectangle(
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    fill: str,
    stroke: str = "none",
    opacity: float = 1.0,
    title: str = "",
) -> str:
    """Draw a rectangle; ``title`` shows when one points at it."""
    inside = f"<title>{escape(title)}</title>" if title else ""
    shade = f' fill-opacity="{number(opacity)}"' if opacity < 1 else ""
    return (
        f'<rect x="{number(x)}" y="{number(y)}" width="{number(max(width, 0))}" height="{number(max(height, 0))}" '
        f'fill="{fill}"{shade} stroke="{stroke}">{inside}</rect>'
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
    """Draw a dot with a dark rim, so that light ones can be seen on paper."""
    inside = f"<title>{escape(title)}</title>" if title else ""
    return (
        f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{fill}" stroke="{INK}">{inside}</circle>'
    )


def text(
    x: float,
    y: float,
    words: str,
    *,
    anchor: Anchor = "start",
    size: float = 12,
    fill: str = INK,
    bold: bool = False,
    more: str = "",
) -> str:
    """Write words at a place, and ``more`` quietly after them. A page's own style for text is overruled."""
    weight = ' font-weight="600"' if bold else ""
    after = f'<tspan dx="10" font-size="12" font-weight="400" fill="{QUIET}">{escape(more)}</tspan>' if more else ""
    return (
        f'<text x="{number(x)}" y="{number(y)}" text-anchor="{anchor}" font-size="{number(size)}"{weight} '
        f'style="fill:{fill};stroke:none;font-variant-numeric:tabular-nums">{escape(words)}{after}</text>'
    )


def number(value: float) -> str:
    """Write a coordinate with at most two decimals, the same on every machine."""
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
