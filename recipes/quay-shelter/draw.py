"""Draw the pictures of the quay shelter, from the scenes that Ladderlight itself brings.

python draw.py
"""

from pathlib import Path

from ladderlight.starter import open_scene

HERE = Path(__file__).parent

if __name__ == "__main__":
    for name, scene in (("1-chart", "chart"), ("2-ferry", "ferry"), ("3-lighthouse", "lighthouse")):
        open_scene(scene).resize((320, 240)).save(HERE / "pictures" / f"{name}.png", optimize=True)
