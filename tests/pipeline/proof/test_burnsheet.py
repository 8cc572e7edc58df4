import hashlib
import re

import pytest

from ladderlight.board import Part
from ladderlight.devices.files import images_of
from ladderlight.proof.burnsheet import burn_page, burn_part, burn_sheet
from ladderlight.proof.scanout import memories_of
from ladderlight.workspace.burned import chip_of
from ladderlight.workspace.description import describe
from ladderlight_stages.emissions.binary import binary
from ladderlight_stages.emissions.intel_hex import intel_hex


def sheet_of(board, *manifests):
    return burn_sheet(board, [burn_part(board, manifest) for manifest in manifests])


def record(board, words):
    return {
        device.name: chip_of("recipe.toml", device, images_of(board, words)[device.name]) for device in board.devices
    }


def described(board, contents, burned=None, tray=None):
    files = binary(contents, board)
    return describe(
        project="Merrowhithe",
        board=board,
        contents=contents,
        files=files,
        images=images_of(board, memories_of(board, files)),
        burned=burned,
        tray=tray,
    )


def test_the_sheet_says_what_goes_where(board, banked):
    document = described(board, banked(board, (0, 2)))
    device = document["devices"][0]
    text = sheet_of(board, document)
    assert max(map(len, text.splitlines())) <= 78
    for line in (
        "Burn sheet: Merrowhithe",
        "Burn 1 of 1: picture.",
        "  state     no record of this chip; burn it",
        "  file      devices/picture.bin",
        "  part      DIP-32",
        "  erasure   ultraviolet light, the whole chip",
        "  size      131,072 bytes (20000h)",
        f"  CRC-32    {device['crc32']}    sum 16 bits {device['sum16']}    8 bits {device['sum8']}    32 bits "
        f"{device['sum32']}",
        f"  SHA-256   {' '.join(re.findall('....', device['sha256'][:32]))}",
        f"            {' '.join(re.findall('....', device['sha256'][32:]))}",
        "  bank 0    00000h to 0779Fh  picture-0",
        "  bank 2    10000h to 1779Fh  picture-2",
        "  in use    38,400 of 131,072 words, the last at 1779Fh; 92,672 not in use",
    ):
        assert line in text.splitlines()
    assert "[ ] burn" in text
    assert "datasheets" in text


def test_the_digest_of_a_file_of_records_is_of_the_bytes_and_not_of_the_file(board, banked):
    contents = banked(board, (0,))
    files = intel_hex(contents, board, offset=0x100)
    document = describe(
        project="p", board=board, contents=contents, files=files, images=images_of(board, memories_of(board, files))
    )
    text = sheet_of(board, document)
    digest = hashlib.sha256(contents.memories["picture"].words.astype("u1").tobytes()).hexdigest()
    (line,) = [line for line in text.splitlines() if line.endswith("  of the bytes burned")]
    assert line.split()[:8] == re.findall("....", digest[32:])
    assert max(map(len, text.splitlines())) <= 78


def test_a_chip_that_holds_it_is_left(board, banked):
    contents = banked(board, (0,))
    text = sheet_of(board, described(board, contents, record(board, {"picture": contents.memories["picture"].words})))
    assert "Nothing to burn" in text
    assert "[x] leave" in text


@pytest.mark.parametrize(
    ("part", "flip", "text"),
    [
        ("27C256", 0x00, "holds this already"),
        ("27C256", 0x80, "differs from the last build in 1 byte; erase it, then burn it"),
        ("28C256", 0x80, "differs from the last build in 1 byte, in 1 page at 0000h to 003Fh; burn it"),
        ("29F010", 0x80, "differs from the last build in 1 byte, in 1 sector at 00000h to 03FFFh; burn it"),
    ],
)
def test_the_state_of_a_chip_in_words(make_board, memory, banked, part, flip, text):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part=part))
    contents = banked(board, (0,))
    held = contents.memories["picture"].words.copy()
    held[0] ^= flip  # spare pins are set in what is wanted, so this bit must be set again
    assert described(board, contents, record(board, {"picture": held}))["devices"][0]["burn"]["text"] == text


def test_a_change_that_only_clears_bits_needs_no_eraser(board, banked):
    contents = banked(board, (0,))
    held = contents.memories["picture"].words.copy()
    held[:3] = 0xFF
    device = described(board, contents, record(board, {"picture": held}))["devices"][0]
    differing = int((contents.memories["picture"].words[:3] != 0xFF).sum())
    assert device["burn"]["text"] == (
        f"differs from the last build in {differing} bytes, by cleared bits only; burn it as it is"
    )


def test_a_part_of_ones_own_is_shown_as_described(make_board, memory, banked):
    own = Part(number="MH-77", words=1 << 17, width=8, erasure="sectors", block=4096, package="SO-32")
    board = make_board(memory(address=["x2-x9", "y2-y8", "bank0-bank1"], data=["b0-b1", "g0-g1", "r0-r1"], part=own))
    lines = sheet_of(board, described(board, banked(board, (0,)))).splitlines()
    assert any(line.startswith("picture  (MH-77)") for line in lines)
    assert "  part      SO-32" in lines
    assert "  erasure   electrically, in sectors of 4,096 bytes" in lines


def test_the_chips_of_several_trays_are_on_one_sheet(board, banked):
    trays = [described(board, banked(board, (0,)), tray=number) for number in (1, 2)]
    lines = sheet_of(board, *trays).splitlines()
    assert lines[3] == "Burn 2 of 2: tray 1, picture; tray 2, picture."
    assert [line[:15] for line in lines if "[ ] burn" in line] == ["tray 1, picture", "tray 2, picture"]
    page = burn_page(board, [burn_part(board, tray) for tray in trays])
    assert re.findall(r'<h2 id="([\w-]+)"', page) == ["chip1-1", "chip2-1", "labels", "cautions"]
    assert page.count(f"<code>{trays[1]['devices'][0]['crc32']}</code></li>") == 2  # the labels of both
