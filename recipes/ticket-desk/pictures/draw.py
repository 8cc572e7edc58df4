"""Draws the picture of this recipe with the scenes that Ladderlight itself brings: run it with Python, here."""

from pathlib import Path

from ladderlight.starter.scenes import draw_scene

draw_scene("ferry").resize((480, 360)).save(Path(__file__).parent / "ferry.png", optimize=True)
