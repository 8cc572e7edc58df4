"""What pages and sheets say of every board: its main figures, and where hardware or people can come to harm."""

from ladderlight.board import Board
from ladderlight.units.words import counted


def facts_of(board: Board) -> list[tuple[str, str, str]]:
    """Return the main figures of a board: name, figure, detail."""
    raster, geometry, palette = board.raster, board.geometry, board.palette
    colours = len({palette.hex_of(code) for code in range(len(palette))})
    repeat = f"{counted(geometry.repeat_x, 'count')} by {counted(geometry.repeat_y, 'line')}"
    per_pixel = f"{float(raster.ratio):.6g} count{'s' * (raster.ratio != 1)} per monitor pixel"
    return [
        ("Picture", f"{geometry.width} × {geometry.height}", f"each pixel {repeat}"),
        ("Pixel aspect", f"{geometry.pixel_aspect:.3g}", "width over height on the screen"),
        ("Colours", f"{colours:,}", f"{len(palette):,} codes on {len(palette.lines)} lines"),
        ("Mode", raster.mode.name, f"{float(raster.line_rate) / 1e3:.3f} kHz, {float(raster.frame_rate):.2f} Hz"),
        ("Clock", f"{float(raster.clock) / 1e6:.6g} MHz", per_pixel),
        ("Banks", f"{board.bank_count}", f"blanking: {board.blanking}"),
    ]


def cautions(board: Board) -> list[str]:
    """List the cautions that concern a board's parts and its monitor, one sentence or two each."""
    kinds = {memory.part.erasure for memory in board.memories}
    found = ["The parts' datasheets, the monitor's manual and local safety rules come before anything written here."]
    if kinds & {"ultraviolet", "unknown"}:
        found.append(
            "Programming voltages run from 12.5 V to 25 V by part and maker, and the wrong one destroys the chip: "
            "check the marking on the chip itself before choosing the part in the programmer."
        )
    if "ultraviolet" in kinds:
        found.append(
            "The short-wave ultraviolet light of an eraser harms eyes and skin: keep its lid shut, never look into it."
        )
    return [
        *found,
        "Static discharge ruins chips: work on an earthed mat, touch the case before the pins.",
        "Never put a chip into its socket or take it out while the board has power; mind pin 1.",
        "A line rate that a tube monitor is not made for can damage it: compare the rates with its manual first.",
        "The picture signal must be dark during blanking.",
        "A tube monitor holds lethal voltages even when unplugged: leave it closed.",
    ]
