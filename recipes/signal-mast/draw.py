"""Draw the picture of the signal mast: a mast at the quay with the flags of the day, which are our own.

python draw.py
"""

from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

HERE = Path(__file__).parent
SIZE = (640, 480)
FLAGS = (("#c22b2b", "#f4f0e2"), ("#1f3f8f", "#f2c230"), ("#f4f0e2", "#1f3f8f"), ("#2f7f4f", "#f2c230"))


def mast() -> Image.Image:
    """Draw sky and water as ramps, the mast with its yard, and two hoists of four flags."""
    height = np.linspace(0, 1, SIZE[1])[:, None, None]
    sky = (1 - height) * np.array([70, 130, 200]) + height * np.array([235, 225, 205])
    picture = Image.fromarray(np.broadcast_to(sky, (SIZE[1], SIZE[0], 3)).astype(np.uint8))
    draw = ImageDraw.Draw(picture)
    for row in range(380, SIZE[1]):
        draw.line((0, row, SIZE[0], row), fill=(30, 70 + (row - 380) // 2, 110))
    draw.polygon(((0, 400), (420, 400), (470, SIZE[1]), (0, SIZE[1])), fill="#6b5f52")
    draw.rectangle((206, 40, 214, 410), fill="#3a2d22")
    draw.rectangle((90, 110, 330, 116), fill="#3a2d22")
    for hoist, left in enumerate((100, 262)):
        draw.line((left, 114, left, 390), fill="#202020", width=2)
        for place in range(4):
            field, mark = FLAGS[(place + 3 * hoist) % 4]
            top = 124 + 64 * place
            draw.rectangle((left, top, left + 72, top + 48), fill=field)
            if (place + hoist) % 2:
                draw.rectangle((left + 24, top + 14, left + 48, top + 34), fill=mark)
            else:
                draw.rectangle((left, top + 18, left + 72, top + 30), fill=mark)
    draw.polygon(((480, 360), (600, 360), (580, 392), (500, 392)), fill="#7a1f1f")
    draw.polygon(((540, 250), (540, 352), (604, 352)), fill="#f4f0e2")
    return picture


if __name__ == "__main__":
    mast().quantize(48, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).convert("RGB").save(
        HERE / "pictures" / "flags.png", optimize=True
    )
