"""Draw the tide charts of Merrowhithe: 160x120 pixels, laid from tiles of 8x8 so that a tile memory holds them.

    python draw.py

The coast follows a grid of corners that are land or sea; each tile is shaded from its four corners alone, so that
tiles with the same corners are equal, and those with mirrored corners are mirrored.
"""

from pathlib import Path

import numpy as np
from PIL import Image

from ladderlight_stages.lettering import glyphs

HERE = Path(__file__).parent
TILE = 8
ISLAND = """
.....................
.....................
.....................
.......####..........
.....########........
....##########..##...
....###########.##...
...############......
...###########.......
....##########....#..
....#########....###.
.....#######......#..
......####...........
.....................
.....................
.....................
"""
HOUSE = "........|...rr...|..rrrr..|.rrrrrr.|.wwwwww.|.wbwwbw.|.wwkkww.|.wwkkww."
TREE = "...gg...|..gggg..|.gggggg.|.gggggg.|..gggg..|...kk...|...kk...|........"
BOAT = "...k....|...kww..|...kwww.|...kwwww|...k....|rrrrrrrr|.rrrrrr.|........"
LIGHT = "...kk...|..kyyk..|..kyyk..|..wwww..|..rrrr..|..wwww..|..rrrr..|..wwww.."
FOOT = "..rrrr..|..wwww..|..rrrr..|..wwww..|.wwwwww.|.wwkkww.|.wwkkww.|kkkkkkkk"
SPRITES = [
    (HOUSE, 8, 5),
    (HOUSE, 9, 5),
    (HOUSE, 8, 7),
    (TREE, 5, 7),
    (TREE, 6, 8),
    (TREE, 10, 8),
    (BOAT, 16, 11),
    (BOAT, 1, 5),
]
LIGHTHOUSE = (11, 5)
DAY = {
    "deep": (0, 85, 170),
    "sea": (0, 85, 255),
    "shoal": (85, 170, 255),
    "sand": (255, 255, 170),
    "land": (85, 170, 0),
    "r": (170, 0, 0),
    "w": (255, 255, 255),
    "b": (0, 0, 85),
    "k": (0, 0, 0),
    "g": (0, 85, 0),
    "y": (255, 255, 85),
}
NIGHT = {
    "deep": (0, 0, 0),
    "sea": (0, 0, 85),
    "shoal": (0, 85, 85),
    "sand": (85, 85, 85),
    "land": (0, 85, 0),
    "r": (85, 0, 0),
    "w": (170, 170, 170),
    "b": (255, 255, 85),
    "k": (0, 0, 0),
    "g": (0, 0, 0),
    "y": (255, 255, 255),
}


def chart(colours: dict[str, tuple[int, int, int]], tide: float, title: str) -> Image.Image:
    """Draw one chart; ``tide`` moves the water line, 0 is low and 1 is high."""
    corners = np.array([[mark == "#" for mark in row] for row in ISLAND.split()], dtype=float)
    centre = (np.arange(TILE) + 0.5) / TILE
    across, down = np.meshgrid(centre, centre)
    picture = np.zeros((120, 160, 3), dtype=np.uint8)
    for row in range(15):
        for column in range(20):
            nw, ne, sw, se = (corners[row + y, column + x] for y in (0, 1) for x in (0, 1))
            height = (nw * (1 - across) + ne * across) * (1 - down) + (sw * (1 - across) + se * across) * down
            tile = np.empty((TILE, TILE, 3), dtype=np.uint8)
            tile[:] = colours["deep"]
            rings = [("sea", 0.02), ("shoal", 0.12 + 0.1 * tide), ("sand", 0.25 + 0.2 * tide), ("land", 0.6)]
            for name, level in rings:
                tile[height > level] = colours[name]
            if nw == ne == sw == se == 0 and (row + column) % 3 == 0:
                tile[4, 2:6] = tile[3, 1] = tile[3, 6] = colours["sea"]
            picture[row * 8 : row * 8 + 8, column * 8 : column * 8 + 8] = tile
    for sprite, column, row in SPRITES:
        stamp(picture, sprite, colours, column, row)
    stamp(picture, LIGHT, colours, LIGHTHOUSE[0], LIGHTHOUSE[1])
    stamp(picture, FOOT, colours, LIGHTHOUSE[0], LIGHTHOUSE[1] + 1)
    for row, text in ((1, "MERROWHITHE"), (13, title)):
        for index, letter in enumerate(text):
            left, top = ((20 - len(text)) // 2 + index) * TILE, row * TILE
            picture[top : top + TILE, left : left + TILE][glyphs()[letter]] = colours["w"]
    return Image.fromarray(picture)


def stamp(picture: np.ndarray, sprite: str, colours: dict[str, tuple[int, int, int]], column: int, row: int) -> None:
    """Draw a sprite into one tile."""
    for y, line in enumerate(sprite.split("|")):
        for x, mark in enumerate(line):
            if mark != ".":
                picture[row * TILE + y, column * TILE + x] = colours[mark]


if __name__ == "__main__":
    for name, colours, tide, title in (
        ("1-low-tide", DAY, 0.0, "LOW TIDE"),
        ("2-high-tide", DAY, 1.0, "HIGH TIDE"),
        ("3-night", NIGHT, 1.0, "NIGHT"),
    ):
        chart(colours, tide, title).save(HERE / "pictures" / f"{name}.png", optimize=True)
