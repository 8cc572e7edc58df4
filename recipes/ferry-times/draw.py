"""Draw the characters of the ferry display: a grid of cells of 8x16 pixels, one bit each.

    python draw.py

The shapes are those of the bitmap font that Pillow brings along.
"""

from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

HERE = Path(__file__).parent
COLUMNS = 16
CHARACTERS = [chr(code) for code in range(32, 128)]


def sheet() -> Image.Image:
    """Draw all characters, white on black."""
    font = ImageFont.load_default_imagefont()
    picture = Image.new("L", (COLUMNS * 8, len(CHARACTERS) // COLUMNS * 16))
    draw = ImageDraw.Draw(picture)
    for number, character in enumerate(CHARACTERS):
        row, column = divmod(number, COLUMNS)
        if character.isprintable():
            draw.text((column * 8 + 1, row * 16 + 2), character, fill=255, font=font)
    return picture


if __name__ == "__main__":
    sheet().convert("1").save(HERE / "pictures" / "characters.png", optimize=True)
