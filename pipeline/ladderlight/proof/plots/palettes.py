"""A palette as levels by gun, or by lightness where the guns depend on each other; what is not used is drawn small."""

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from ladderlight.board.model.ladder import GUNS
from ladderlight.board.model.palette import Palette
from ladderlight.colour.spaces import LUMINANCE
from ladderlight.flow.images import saved
from ladderlight.proof.plots.drawing import MUTED, WIDTH, drawing, number, rectangle, text
from ladderlight.proof.screens import data_url
from ladderlight.system.frozen import Frozen

MOST_CELLS = 4096
"""Codes up to which each has a cell; of more, the levels of each gun and the colours used most are shown."""
_MOST_USED = 256
_CELL = 3  # pixels of a cell's side; a colour that is not used is the middle one only
_WIDEST = 40.0
_HIGHEST = 450.0  # units that the fields take in height, so that a plot fits the window and a page
_TITLE, _GAP = 18.0, 8.0

Uses = Mapping[int, NDArray[np.int64]]
"""For each bank the number of pixels that show each code: int64, shape (codes,)."""


class Field(Frozen, eq=False):
    """A part of a palette's plot: ``codes`` int64 (rows, columns), -1 for none, and where it stands in the plot."""

    title: str
    codes: NDArray[np.int64]
    x: float
    y: float
    cell: float


def palette_fields(palette: Palette, uses: Uses | None = None) -> list[Field]:
    """Lay the codes out.

    Where the guns are independent there is a field for each level of blue; green rises to the right in it and red
    downwards. Otherwise all codes ascend in lightness. Of more codes than ``MOST_CELLS`` there are those used most.
    """
    lattice = palette.lattice
    if len(palette) > MOST_CELLS:
        return _by_lightness(palette, _used_most(uses or {}))
    if lattice is None or not _is_by_gun(palette):
        return _by_lightness(palette, np.arange(len(palette)))
    red, green, blue = (codes.astype(np.int64) for codes in lattice.codes)
    across, cell = _laid_out(len(blue), len(red), len(green))
    fields = []
    for place, level in enumerate(blue):
        volts = palette.volts[red[0] + green[0] + level, 2]
        row, column = divmod(place, across)
        fields.append(
            Field(
                title=f"blue {volts:.3f} V" if len(blue) > 1 else "",
                codes=red[:, None] + green[None, :] + level,
                x=column * (len(green) * cell + _GAP),
                y=row * (len(red) * cell + _TITLE + _GAP),
                cell=cell,
            )
        )
    return fields


def _laid_out(fields: int, rows: int, columns: int) -> tuple[int, float]:
    """Return how many fields stand side by side, as few as keep the plot low, and the side of a cell."""
    for across in range(1, fields + 1):
        cell = min(_WIDEST, ((WIDTH + _GAP) / across - _GAP) / columns)
        if -(-fields // across) * (rows * cell + _TITLE + _GAP) <= _HIGHEST:
            break
    return across, cell


def palette_plot(palette: Palette, uses: Uses | None = None) -> str:
    """Plot a palette; given the uses, colours that no bank shows are drawn small."""
    fields = palette_fields(palette, uses)
    used = sum(uses.values()) > 0 if uses else np.ones(len(palette), dtype=bool)
    label = f"Palette of {len(palette):,} codes"
    if uses:
        label += f", {int(np.sum(used)):,} of them used"
    parts: list[str] = []
    top = 0.0
    if len(palette) > MOST_CELLS:
        parts += _ramps(palette)
        top = 3 * 40.0 + _GAP
        label += ": the levels of each gun" + (", and the codes used most" if fields else "")
    end = top
    for place, field in enumerate(fields):
        rows, columns = field.codes.shape
        y = top + field.y
        if field.title:
            parts.append(text(field.x, y + 12, field.title))
        width, height = columns * field.cell, rows * field.cell
        parts.append(
            f'<image data-field="{place}" x="{number(field.x)}" y="{number(y + _TITLE)}" width="{number(width)}" '
            f'height="{number(height)}" preserveAspectRatio="none" style="image-rendering:pixelated" '
            f'href="{_image(palette, field.codes, np.asarray(used))}"/>'
        )
        parts.append(_outlines(field, y + _TITLE, np.asarray(used)))
        end = max(end, y + _TITLE + height)
    if fields:
        red, green = (float(palette.volts[:, gun].max()) for gun in range(2))
        axes = f"to the right: green up to {green:.3f} V; down: red up to {red:.3f} V"
        if len(palette) > MOST_CELLS:
            axes = f"the {sum(int((field.codes >= 0).sum()) for field in fields)} codes used most, by lightness"
        elif not _is_by_gun(palette):
            axes = "by lightness, darkest first"
        parts.append(text(0, end + 16, axes, fill=MUTED))
        end += 22
    return drawing(end, label, parts)


def _is_by_gun(palette: Palette) -> bool:
    """Whether the levels of more than one gun can be chosen freely."""
    lattice = palette.lattice
    return lattice is not None and max(map(len, lattice.codes)) < len(palette)


def _used_most(uses: Uses) -> NDArray[np.int64]:
    counts = sum(uses.values()) if uses else np.zeros(0, dtype=np.int64)
    order = np.argsort(-np.asarray(counts), kind="stable")[:_MOST_USED]
    return order[np.asarray(counts)[order] > 0]


def _by_lightness(palette: Palette, codes: NDArray[np.int64]) -> list[Field]:
    if not len(codes):
        return []
    ordered = codes[np.argsort(palette.linear[codes] @ LUMINANCE, kind="stable")]
    columns = min(len(codes), 8 if len(codes) <= 32 else 16 if len(codes) <= 256 else 64)
    rows = -(-len(codes) // columns)
    laid = np.full(rows * columns, -1, dtype=np.int64)
    laid[: len(codes)] = ordered
    cell = min(_WIDEST, WIDTH / columns)
    return [Field(title="", codes=laid.reshape(rows, columns), x=0.0, y=-_TITLE + 1, cell=cell)]


def _image(palette: Palette, codes: NDArray[np.int64], used: NDArray[np.bool_]) -> str:
    """Return the address of a PNG with a cell of some pixels for each code."""
    from PIL import Image

    cells = np.zeros((*codes.shape, 4), dtype=np.uint8)
    cells[..., :3] = palette.srgb8[codes]
    cells[..., 3] = np.where(codes >= 0, 255, 0)
    pixels = cells.repeat(_CELL, axis=0).repeat(_CELL, axis=1)
    small = (~used[codes]).repeat(_CELL, axis=0).repeat(_CELL, axis=1)
    rows, columns = np.indices(small.shape) % _CELL
    pixels[small & ~((rows == _CELL // 2) & (columns == _CELL // 2)), 3] = 0
    return data_url(saved(Image.fromarray(pixels), compression=9))


def _outlines(field: Field, top: float, used: NDArray[np.bool_]) -> str:
    """Return the edges of the cells, fainter around those that are drawn small; a place without a code has none."""
    codes = field.codes
    shown = (codes >= 0) & used[codes]
    place = f'transform="translate({number(field.x)} {number(top)}) scale({number(field.cell)})"'
    style = f'fill="none" stroke="{MUTED}" vector-effect="non-scaling-stroke"'
    return "".join(
        f'<path d="{_edges(cells)}" {place} {style}{faint}/>'
        for cells, faint in ((codes >= 0, ' stroke-opacity=".35"'), (shown, ""))
        if cells.any()
    )


def _edges(cells: NDArray[np.bool_]) -> str:
    """Return the path around each of some cells, rows and columns of 1; edges that lie in line are joined."""
    framed = np.pad(cells, 1)
    path = []
    for edges, letter in ((framed[1:, 1:-1] | framed[:-1, 1:-1], "h"), ((framed[1:-1, 1:] | framed[1:-1, :-1]).T, "v")):
        ends = np.diff(np.pad(edges, ((0, 0), (1, 1))).astype(np.int8), axis=1)
        for (at, first), (_, last) in zip(np.argwhere(ends == 1), np.argwhere(ends == -1), strict=True):
            x, y = (first, at) if letter == "h" else (at, first)
            path.append(f"M{x} {y}{letter}{last - first}")
    return "".join(path)


def _ramps(palette: Palette) -> Iterator[str]:
    for gun, name in enumerate(GUNS):
        shades = sorted(set(palette.srgb8[:, gun].tolist()))
        width = (WIDTH - 44) / len(shades)
        yield text(0, gun * 40 + 24, name, fill=MUTED)
        for position, shade in enumerate(shades):
            colour = "#" + "".join(f"{shade * (part == gun):02x}" for part in range(3))
            yield rectangle(44 + position * width, gun * 40 + 4, width, 32, fill=colour, title=colour)
