from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from ladderlight import DeviceFileError
from ladderlight.board import Channel, Counters, Ladder
from ladderlight.proof.scanout import Scanned, memories_of, picture_codes, read_memories, render, screen_codes
from ladderlight_stages.emissions.binary import binary
from ladderlight_stages.emissions.intel_hex import intel_hex


def written(folder, files):
    for file in files:
        (folder / file.name).write_bytes(file.data)
    return files


def words_of(contents):
    return {name: memory.words for name, memory in contents.memories.items()}


def test_the_screen_shows_the_picture_in_its_own_colours_at_full_resolution(board, banked):
    words = words_of(banked(board, (0, 1)))
    shown = render(board, words, 1)
    assert (shown.dtype, shown.shape) == (np.uint8, (480, 640, 3))
    codes = picture_codes(board, words, 1)
    assert codes.shape == (120, 160)
    assert (shown == board.palette.srgb8[codes].repeat(4, axis=0).repeat(4, axis=1)).all()


@pytest.mark.parametrize("emission", [binary, intel_hex])
def test_a_flipped_byte_on_disk_changes_exactly_its_pixel(board, banked, tmp_path, emission):
    contents = banked(board, (0, 2))
    files = written(tmp_path, emission(contents, board))
    before = read_memories(board, tmp_path, files)
    # Pixel (7, 5) of bank 2: the wiring has x2-x9, y2-y8, bank0-bank1 from A0 upward.
    address = 7 | 5 << 8 | 2 << 15
    path = tmp_path / files[0].name
    if emission is binary:
        data = bytearray(path.read_bytes())
        data[address] ^= 0b100
        path.write_bytes(data)
    else:
        lines = path.read_text().splitlines()
        at = 1 + address // 16  # one extended address record stands before
        record = bytearray.fromhex(lines[at][1:])
        record[4 + address % 16] ^= 0b100
        record[-1] = -sum(record[:-1]) & 0xFF
        lines[at] = ":" + record.hex()
        path.write_text("\n".join(lines))
    after = read_memories(board, tmp_path, files)
    differs = (render(board, before, 2) != render(board, after, 2)).any(axis=2)
    rows, columns = np.nonzero(differs)
    assert (rows.min(), rows.max(), columns.min(), columns.max()) == (20, 23, 28, 31)
    assert differs.sum() == 16
    assert (render(board, before, 0) == render(board, after, 0)).all()


def test_a_damaged_hex_file_is_an_error_not_a_picture(board, banked, tmp_path):
    files = written(tmp_path, intel_hex(banked(board, (0,)), board))
    path = tmp_path / "picture.hex"
    path.write_text(path.read_text().replace(":10000000", ":10000100", 1))
    with pytest.raises(DeviceFileError, match=r"picture\.hex:1: .*damaged"):
        read_memories(board, tmp_path, files)


def test_two_files_of_a_device_that_disagree_are_both_named(board, banked, tmp_path):
    contents = banked(board, (0,))
    files = written(tmp_path, binary(contents, board) + intel_hex(contents, board))
    assert (read_memories(board, tmp_path, files)["picture"] == contents.memories["picture"].words).all()
    (tmp_path / "picture.bin").write_bytes(bytes(131072))
    with pytest.raises(DeviceFileError, match=r"picture\.bin and picture\.hex disagree"):
        read_memories(board, tmp_path, files)


def test_a_missing_file_and_a_device_without_file_are_errors(board, banked, tmp_path):
    files = binary(banked(board, (0,)), board)
    with pytest.raises(DeviceFileError, match=r"picture\.bin: cannot be read"):
        read_memories(board, tmp_path, files)
    with pytest.raises(DeviceFileError, match="bytes of device 'picture' are in no file; add"):
        memories_of(board, [])


def test_a_slow_clock_widens_its_counts(make_board, memory, banked):
    board = make_board(
        memory(address=["x0-x7", "y2-y9"], data=["b0-b1", "g0-g1", "r0-r1"]), mode="1024x768@60", clock="16250000"
    )
    words = words_of(banked(board, (0,)))
    shown = render(board, words)
    assert shown.shape == (768, 1024, 3)
    assert (shown == board.palette.srgb8[picture_codes(board, words)].repeat(4, axis=0).repeat(4, axis=1)).all()


def test_a_fast_clock_averages_the_light_of_the_counts_in_a_pixel(make_board, memory):
    """Two counts to a monitor pixel: black beside full drive is half the light, sRGB 188 by IEC 61966-2-1."""
    one_line = Ladder(supply=5.0, channels=(Channel(name="red", resistors={"r0": 460.7}, guns=(0,)),))
    board = make_board(
        memory(address=["x0", "low", "low"], data=["r0"], part="2716"),
        clock="50350000",
        ladder=one_line,
    )
    words = {"picture": np.tile(np.array([0, 1], dtype=np.uint32), 1024)}
    full = float(board.palette.linear[1, 0])
    half = (1.055 * (full / 2) ** (1 / 2.4) - 0.055) * 255
    shown = render(board, words)
    assert shown.shape == (480, 640, 3)
    assert np.unique(shown[..., 0]).tolist() == [round(half)]


def test_sync_and_blanking_as_late_as_the_register_show_the_whole_picture(make_board, memory):
    """A black picture in a memory that is erased around it: no white bar at the left, no lost column at the right."""
    board = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], output="register"),
        counters=Counters(blanking_delay=4),
    )
    words = np.full(131_072, 63, dtype=np.uint32)
    words.reshape(512, 256)[:120, :160] = 0
    words.reshape(512, 256)[:120, 159] = 3
    blue = board.palette.srgb8[3].tolist()
    shown = render(board, {"picture": words})
    assert not shown[:, :636].any()
    assert (shown[:, 636:] == blue).all()
    late = render(replace(board, counters=Counters()), {"picture": words})
    assert (late[:, :4] == board.palette.srgb8[63]).all()
    assert not late[:, 4:].any()


def test_past_the_last_whole_count_the_screen_is_dark(make_board, memory):
    """254 of the 254.4 counts that would fill 640 monitor pixels: pixel 638 ends at 254.0025 counts."""
    board = make_board(memory(address=["x0-x7", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]), clock="10000000")
    words = {"picture": np.full(131_072, 63, dtype=np.uint32)}
    shown = render(board, words)
    white = board.palette.srgb8[63].tolist()
    assert np.unique(shown[:, :638]).tolist() == sorted(set(white))
    assert (shown[:, 638] == np.array(white) - 1).all()  # 254.0 - 253.605 of 0.3975 counts
    assert not shown[:, 639].any()


def test_a_clock_in_no_whole_ratio_shares_pixels_between_counts(make_board, memory, banked):
    """27 counts to 40 monitor pixels: the light of a line is kept, and pixels inside one count have its colour."""
    board = make_board(
        memory(address=["x0-x8", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C512"), clock="16993125"
    )
    assert board.raster.ratio == Fraction(27, 40)
    words = words_of(banked(board, (0,)))
    shown = render(board, words)
    codes = screen_codes(board, words)
    assert codes.shape == (480, 432)
    starts = np.arange(640) * 27
    inside = starts // 40 == (starts + 26) // 40
    assert (shown[:, inside] == board.palette.srgb8[codes[:, (starts // 40)[inside]]]).all()
    split = np.flatnonzero(~inside)[0]
    first, share = starts[split] // 40, ((starts[split] // 40 + 1) * 40 - starts[split]) / 27
    light = board.palette.linear[codes[0, first]] * share + board.palette.linear[codes[0, first + 1]] * (1 - share)
    expected = np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    assert np.abs(shown[0, split] - expected * 255).max() <= 0.5 + 1e-6


def test_a_registered_output_moves_the_picture_right_by_one_hold(make_board, memory, banked):
    lines = {"address": ["x2-x9", "y2-y8", "bank0-bank1"], "data": ["b0-b1", "g0-g1", "r0-r1"]}
    direct, registered = make_board(memory(**lines)), make_board(memory(**lines, output="register"))
    words = words_of(banked(direct, (0, 1)))
    plain, late = screen_codes(direct, words, 1), screen_codes(registered, words, 1)
    assert (late[:, 4:] == plain[:, :-4]).all()
    # The first hold shows what the last count of the blanking before it addresses: x = 799, on the line before.
    lines_before = (np.arange(480) - 1) % 525
    address = 799 >> 2 | (lines_before >> 2 & 127) << 8 | 1 << 15
    assert (late[:, :4] == words["picture"][address][:, None] & 63).all()


def test_registers_after_one_another_add_up(make_board, memory, ladder, random_contents):
    """A registered look-up memory behind a registered picture memory: two holds late, in the look-up's colours."""
    picture = memory("picture", address=["x2-x9", "y2-y8"], data=["-"], part="27C256", output="register")
    colours = memory(
        "colours", address=["picture.d0-picture.d7"], data=["b0-b1", "g0-g1", "r0-r1"], part="2716", output="register"
    )
    board = make_board(picture, colours)
    words = words_of(random_contents(board))
    codes = screen_codes(board, words)
    expected = (
        (words["colours"][words["picture"][: 128 * 256].reshape(128, 256)] & 63)[:120, :160]
        .repeat(4, axis=0)
        .repeat(4, axis=1)
    )
    assert (codes[:, 8:] == expected[:, :-8]).all()


def test_a_register_behind_a_gated_and_offset_counter_agrees_with_a_plain_simulation(
    make_board, memory, random_contents
):
    """Against a count-by-count simulation of counter, memory and register written out here."""
    board = make_board(
        memory(address=["!x3", "x4-x9", "x2^y3", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], output="register"),
        counters=Counters(x_start=8, y_start=4),
    )
    words = words_of(random_contents(board))
    held, shown = 0, np.zeros((480, 640), dtype=np.int64)
    memory_words = words["picture"]
    for line in range(-1, 480):
        y = (4 + line % 525) % 1024
        before = None
        for count in range(800):
            x = 8 + count
            if x % 4 == 0 and before is not None:
                held = before
            address = (~x >> 3 & 1) | (x >> 4 & 63) << 1 | ((x >> 2 ^ y >> 3) & 1) << 7 | (y >> 2 & 127) << 8
            before = int(memory_words[address])
            if line >= 0 and count < 640:
                shown[line, count] = held & 63
            if count == 799:
                held = before
    codes = screen_codes(board, words)
    assert (codes == shown).all()


def test_what_has_been_scanned_is_not_scanned_again(board, banked, monkeypatch):
    words = {"picture": banked(board, (0, 2)).memories["picture"].words}
    scanned = Scanned(board=board, words=words, banks=[0, 2])
    expected = [screen_codes(board, words, bank) for bank in scanned.banks]
    monkeypatch.setattr("ladderlight.proof.scanout.scan", None)
    assert all((scanned.screen(bank) == codes).all() for bank, codes in zip(scanned.banks, expected, strict=True))
    assert scanned.images == {"picture": words["picture"].astype(np.uint8).tobytes()}
