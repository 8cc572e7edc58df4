"""Draw the signs of the ticket desk, from the scenes that Ladderlight itself brings.

python draw.py
"""

from pathlib import Path

from ladderlight.starter import open_scene

HERE = Path(__file__).parent

if __name__ == "__main__":
    for name, scene in (("1-open", "ferry"), ("2-closed", "lighthouse")):
        open_scene(scene).resize((480, 360)).save(HERE / "pictures" / f"{name}.png", optimize=True)
