"""Tile maps and tile sets: what the scan reads back is what was put in, over any wiring."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ladderlight import ArrangementError
from ladderlight.proof.scanout import Scanned
from ladderlight_stages.arrangements.tiles import tiles
from ladderlight_stages.tiling import tiling


def block(codes, x, y, size=8):
    return codes[y * size : (y + 1) * size, x * size : (x + 1) * size].tobytes()


GATED = ("x2-x4^map.d6", "y2-y4^map.d7", "map.d0-map.d5")


def test_by_hand_with_mirrors(tile_board, coded, shown):
    """An arrow in four orientations, worked out on paper: one tile, and only the map's mirror bits differ."""
    board = tile_board()
    arrow = np.zeros((8, 8), dtype=np.uint16)
    arrow[0, :3] = 1, 2, 3
    codes = np.zeros((120, 160), dtype=np.uint16)
    codes[0:8, 0:8] = arrow
    codes[0:8, 8:16] = arrow[:, ::-1]
    codes[8:16, 0:8] = arrow[::-1]
    codes[8:16, 8:16] = arrow[::-1, ::-1]
    contents = tiles([coded(board, codes=codes)], board)
    assert np.array_equal(shown(board, contents), codes)
    (tile_set,) = contents.tile_sets
    assert len(tile_set.codes) == 2  # the arrow and the empty tile
    words = {name: memory.words for name, memory in contents.memories.items()}
    (places,) = Scanned(board=board, words=words, banks=[0], tile_sets=[tile_set]).places
    assert sorted(places) == [4, 20 * 15 - 4]
    # A map word stands at x5-x9 | y5-y8 << 5: cells (0,0), (1,0), (0,1), (1,1) are words 0, 1, 20h, 21h.
    here, right, below, diagonal = (int(contents.memories["map"].words[at]) for at in (0, 1, 0x20, 0x21))
    assert here & 0x3F == right & 0x3F == below & 0x3F == diagonal & 0x3F
    assert (right ^ here, below ^ here, diagonal ^ here) == (0x40, 0x80, 0xC0)  # D6 turns x, D7 turns y
    # The arrow's tile, seen with no mirror bits, is in one of its four orientations, each row 8 words long.
    number = here & 0x3F
    stored = contents.memories["tiles"].words[number * 64 : number * 64 + 64].reshape(8, 8) & 0x3F
    turned = arrow[:: -1 if here & 0x80 else 1, :: -1 if here & 0x40 else 1]
    assert np.array_equal(stored, turned)


WIRINGS = {
    "plain": (("x2-x4", "y2-y4", "map.d0-map.d7"), ("x5-x9", "y5-y8", "bank0-bank1"), ()),
    "gated": (GATED, ("x5-x9", "y5-y8", "bank0-bank1"), ("x", "y")),
    "pins in disorder": (
        (
            "map.d5",
            "!x3^map.d6",
            "x2^map.d6",
            "y4^map.d7",
            "low",
            "x4^map.d6",
            "map.d0-map.d4",
            "y3^map.d7",
            "!y2^map.d7",
        ),
        ("bank1", "y8-y5", "high", "x5-x9", "bank0"),
        ("x", "y"),
    ),
    "every other column mirrored by its counter bit": (
        ("x2-x4^map.d6^x5", "y2-y4^map.d7", "map.d0-map.d5"),
        ("x5-x9", "y5-y8", "bank0-bank1"),
        ("x", "y"),
    ),
    "a counter bit and a map bit in one gate choose the tile": (
        ("x2-x4^map.d6", "y2-y4", "map.d0^x5", "map.d1^y6", "map.d2-map.d5"),
        ("x5-x9", "y5-y8", "bank0-bank1"),
        ("x",),
    ),
    "one map bit mirrors and chooses the tile": (
        ("x2-x4^map.d0", "y2-y4", "map.d0-map.d7"),
        ("x5-x9", "y5-y8", "bank0-bank1"),
        (),
    ),
    "a set for each bank": (
        ("x2-x4^map.d6", "y2-y4^map.d7", "bank0-bank1", "map.d0-map.d5"),
        ("x5-x9", "y5-y8", "bank0-bank1"),
        ("x", "y"),
    ),
    "bank lines with a gap, a set for each bank": (
        ("x2-x4^map.d6", "y2-y4^map.d7", "bank1", "bank3", "map.d0-map.d5"),
        ("x5-x9", "y5-y8", "bank3", "bank1"),
        ("x", "y"),
    ),
    "a set for odd and one for even columns": (
        ("x2-x4", "y2-y4", "x5", "map.d0-map.d5"),
        ("x5-x9", "y5-y8", "bank0-bank1"),
        (),
    ),
}


@pytest.mark.parametrize("name", WIRINGS)
def test_exact_over_wirings(name, tile_board, coded, shown, banks, mosaic):
    tile_address, map_address, flips = WIRINGS[name]
    board = tile_board(tile_address, map_address, tile_part="27C256", map_part="28C64")
    pictures = [coded(board, c, codes=mosaic(board, seed=seed, flips=flips)) for seed, c in enumerate("abc")]
    contents = tiles(pictures, board)
    assert not any("differ" in note for note in contents.notes)
    for picture in pictures:
        assert np.array_equal(shown(board, contents, banks(contents)[picture.origin.name]), picture.codes)


def test_gates_save_tiles(tile_board, coded, mosaic):
    board = tile_board()
    picture = coded(board, codes=mosaic(board, tiles=12))
    (with_gates,) = tiles([picture], board).tile_sets
    (without,) = tiles([picture], board, mirror=False).tile_sets
    assert len(with_gates.codes) == 12
    assert len(without.codes) == 48


def test_animated_tiles_when_only_the_tile_memory_knows_the_bank(tile_board, coded, shown, mosaic):
    """One map for two banks: a tile then has two frames, and both banks are read back from it."""
    board = tile_board(("x2-x4", "y2-y4", "bank0", "map.d0-map.d7"), ("x5-x9", "y5-y8"), tile_part="27C256")
    still = mosaic(board, tiles=6, flips=())
    pictures = [coded(board, "a", codes=still), coded(board, "b", codes=(still + 1) % 64)]
    contents = tiles(pictures, board)
    assert contents.tile_sets[0].codes.shape == (6, 16, 8)
    assert "in 2 frames" in contents.notes[0]
    for bank, picture in enumerate(pictures):
        assert np.array_equal(shown(board, contents, bank), picture.codes)


def test_tiles_cut_by_the_edge_share_with_whole_ones(make_board, memory, coded, shown, mosaic):
    board = make_board(
        memory("map", address=["x6-x9", "y6-y8"], data=["-"], part="28C16"),
        memory("tiles", address=["x2-x5^map.d6", "y2-y5^map.d7", "map.d0-map.d5"], data=["b0-b1", "g0-g1", "r0-r1"]),
    )
    codes = mosaic(board, tiles=4, size=16)
    assert codes.shape[0] % 16 == 8
    contents = tiles([coded(board, codes=codes)], board)
    assert np.array_equal(shown(board, contents), codes)
    assert len(contents.tile_sets[0].codes) == 4


def test_packed_words_planes_side_by_side_and_a_map_in_two_chips(
    make_board, memory, ladder, packing, coded, shown, mosaic
):
    """Two 1-bit planes with shift registers, the second with its address pins in another order; a map of two chips."""
    board = make_board(
        memory("low_map", address=["x4-x9", "y4-y8"], data=["-"], part="28C16"),
        memory("high_map", address=["y4-y8", "x4-x9"], data=["-"], part="28C16"),
        memory(
            "plane0",
            address=["y1-y3", "low_map.d0-low_map.d7", "high_map.d0"],
            data=["g0"],
            part="2764",
            packing=packing(pixels=8),
        ),
        memory(
            "plane1",
            address=["high_map.d0", "low_map.d0-low_map.d7", "y1-y3"],
            data=["g1"],
            part="2764",
            packing=packing(pixels=8, order="lsb_first"),
        ),
        ladder=ladder(grey={"g1": 715.0, "g0": 1330.0}),
    )
    assert (board.geometry.width, board.geometry.height) == (320, 240)
    codes = mosaic(board, tiles=300, flips=())
    contents = tiles([coded(board, codes=codes)], board)
    assert np.array_equal(shown(board, contents), codes)
    assert len(contents.tile_sets[0].codes) == len({block(codes, x, y) for x in range(40) for y in range(30)})


def test_independent_planes_have_sets_of_their_own(make_board, memory, ladder, coded, shown):
    """Each plane has its own map bits: the two planes' tiles are chosen independently."""
    board = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=["-"], part="27C1024"),
        memory("plane0", address=["x2-x4", "y2-y4", "map.d0-map.d7"], data=["g0"], part="27C256"),
        memory("plane1", address=["x2-x4", "y2-y4", "map.d8-map.d15"], data=["g1"], part="27C256"),
        ladder=ladder(grey={"g1": 715.0, "g0": 1330.0}),
    )
    stock = np.random.default_rng(1).integers(0, 2, (2, 17, 8, 8))
    choose = np.random.default_rng(2).integers(0, 17, (2, 15, 20))
    layers = [np.block([[stock[p][t] for t in row] for row in choose[p]]) for p in (0, 1)]
    codes = layers[0] | layers[1] << 1
    contents = tiles([coded(board, codes=codes)], board)
    assert np.array_equal(shown(board, contents), codes)
    assert [len(tile_set.codes) for tile_set in contents.tile_sets] == [17, 17]


def test_maps_of_maps(make_board, memory, coded, shown, mosaic):
    """Blocks of four tiles: a map chooses blocks, a block memory chooses tiles."""
    board = make_board(
        memory("map", address=["x6-x9", "y6-y8"], data=["-"], part="28C16"),
        memory("blocks", address=["x5", "y5", "map.d0-map.d7"], data=["-"], part="28C16"),
        memory(
            "tiles", address=["x2-x4", "y2-y4", "blocks.d0-blocks.d7"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C256"
        ),
    )
    codes = mosaic(board, tiles=3, flips=())
    contents = tiles([coded(board, codes=codes)], board)
    assert np.array_equal(shown(board, contents), codes)
    assert [tile_set.memory for tile_set in contents.tile_sets] == ["tiles", "blocks"]


def test_tiles_of_colour_numbers_before_a_look_up(make_board, memory, coded, shown, mosaic):
    board = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=["-"], part="28C16"),
        memory("tiles", address=["x2-x4^map.d7", "y2-y4", "map.d0-map.d6"], data=["-"], part="27C256"),
        memory("colours", address=["tiles.d0-tiles.d3"], data=["b0-b1", "g0-g1", "r0-r1"], part="28C16"),
    )
    palette = np.random.default_rng(3).permutation(64)[:16]
    codes = palette[mosaic(board, tiles=30, flips=("x",)) % 16]
    contents = tiles([coded(board, codes=codes)], board)
    assert np.array_equal(shown(board, contents), codes)
    assert [(s.memory, len(s.codes)) for s in contents.tile_sets] == [("colours", 16), ("tiles", 30)]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_random_wirings(data, tile_board, coded, shown):
    """Any bits within the tile, any for the map, gates anywhere, pins in any order: exact, or refused with a reason."""
    x = [f"x{bit}" for bit in range(2, 10)]
    y = [f"y{bit}" for bit in range(2, 9)]
    counters = data.draw(st.permutations(x + y))
    inside = set(counters[: data.draw(st.integers(2, 8))])
    gates = {
        bit: data.draw(st.sampled_from(["", "", "^map.d8", "^map.d9", "^map.d8^map.d9", "^" + counters[-1]]))
        for bit in sorted(inside)
    }
    pins = [data.draw(st.sampled_from(["", "!"])) + bit + gates[bit] for bit in sorted(inside)]
    pins += [f"map.d{bit}" + data.draw(st.sampled_from(["", "^map.d9", "^" + counters[-2]])) for bit in range(8)]
    board = tile_board(
        data.draw(st.permutations(pins)),
        [bit for bit in counters if bit not in inside],
        tile_part="27C1024",
        map_part="27C1024",
    )
    few = np.random.default_rng(data.draw(st.integers(0, 99))).integers(0, 2, (120, 160)) * (np.arange(160) % 3 == 0)
    try:
        contents = tiles([coded(board, codes=few)], board, merge=False)
    except ArrangementError as error:
        assert "unique tiles are needed" in str(error)
        return
    assert np.array_equal(shown(board, contents), few)


def test_merging_reports_the_loss_that_the_scan_shows(tile_board, coded, shown, banks, mosaic):
    """The reported figures, worked out again from the scanned words with another library (colour-science)."""
    with warnings.catch_warnings():  # it warns that plotting is not installed
        warnings.simplefilter("ignore")
        import colour
    board = tile_board()
    pictures = [coded(board, c, codes=mosaic(board, tiles=70, seed=seed)) for seed, c in enumerate("ab")]
    contents = tiles(pictures, board)
    lab = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(board.palette.drive), np.array([0.31270, 0.32900]))
    share, means = [], {}
    for picture in pictures:
        seen = shown(board, contents, banks(contents)[picture.origin.name])
        share.append(np.mean(seen != picture.codes))
        means[picture.origin.name] = np.mean(colour.delta_E(lab[seen], lab[picture.codes], method="CIE 2000"))
    assert "70 unique tiles of 8x8 pixels in 600 places; there is room for 64, so 6 of them" in contents.notes[0]
    text = contents.notes[1]
    assert f"{100 * np.mean(share):.2f} % of the pixels differ" in text
    reported = float(text.split("difference ")[1].split(" ")[0])
    assert reported == pytest.approx(np.mean(list(means.values())), abs=0.002)
    worst = max(means, key=means.get)
    assert f"most in '{worst}'" in text
    assert float(text.rsplit(": ", 1)[1]) == pytest.approx(means[worst], abs=0.002)
    assert 0 < np.mean(share) < 0.12  # the six least used of 70 tiles


def test_merging_can_be_refused(tile_board, coded, mosaic):
    board = tile_board()
    picture = coded(board, codes=mosaic(board, tiles=70))
    with pytest.raises(ArrangementError, match=r"69 unique tiles are needed, but memory 'tiles' has room for 64"):
        tiles([picture], board, merge=False)


def test_a_few_numbers_only(tile_board, coded, shown, mosaic):
    board = tile_board()
    codes = mosaic(board, tiles=10)
    contents = tiles([coded(board, codes=codes)], board, first=40, count=12)
    assert np.array_equal(shown(board, contents), codes)
    assert set(contents.tile_sets[0].numbers) <= set(range(40, 52))
    assert not contents.memories["tiles"].written[: 40 * 64].any()
    with pytest.raises(ArrangementError, match="room for 64 tiles, so none is left from number 64 on"):
        tiles([coded(board, codes=codes)], board, first=64)


def test_a_small_change_changes_few_bytes(tile_board, coded, mosaic):
    """One tile of a full set is drawn anew: the bytes that differ are a small part of those of a renumbered set."""
    board = tile_board()
    codes = mosaic(board, tiles=64)
    before = tiles([coded(board, codes=codes)], board)
    retouched = codes.copy()
    retouched[0:8, 0:8] = np.random.default_rng(7).integers(0, 64, (8, 8))
    after = tiles([coded(board, codes=retouched)], board)

    def differ(name):
        return int(np.count_nonzero(before.memories[name].words != after.memories[name].words))

    assert 1 <= differ("map") <= 40  # of 300
    assert differ("tiles") <= 12 * 64  # of 64 tiles


def test_the_order_of_pictures_changes_nothing(tile_board, coded, mosaic):
    board = tile_board()
    pictures = [coded(board, c, codes=mosaic(board, tiles=50, seed=seed), bank=seed) for seed, c in enumerate("abc")]
    one, other = tiles(pictures, board), tiles(pictures[::-1], board)
    for name in ("map", "tiles"):
        assert np.array_equal(one.memories[name].words, other.memories[name].words)


def test_only_what_is_read_is_written(tile_board, coded, mosaic):
    board = tile_board()
    contents = tiles([coded(board, codes=mosaic(board, tiles=5))], board)
    assert int(np.count_nonzero(contents.memories["map"].written)) == 20 * 15
    assert int(np.count_nonzero(contents.memories["tiles"].written)) == 5 * 64
    unread = contents.memories["tiles"].written == 0
    assert np.all(contents.memories["tiles"].words[unread] == 0xFF)


def test_a_pixel_bit_that_nothing_has_is_named(make_board, memory, coded):
    board = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=["-"], part="28C16"),
        memory(
            "tiles", address=["x2", "x4", "y2-y4", "map.d0-map.d7"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C256"
        ),
    )
    with pytest.raises(ArrangementError) as caught:
        tiles([coded(board)], board)
    assert "read from one address with any map" in str(caught.value)
    assert "add x3 to its address" in str(caught.value)


def test_attribute_bits_of_a_coarser_memory_are_held(make_board, memory, coded, shown, mosaic):
    board = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=["-"], part="28C16"),
        memory("areas", address=["x7-x9", "y7-y8"], data=["-"], part="28C16"),
        memory(
            "tiles",
            address=["x2-x4", "y2-y4", "map.d0-map.d6", "areas.d0"],
            data=["b0-b1", "g0-g1", "r0-r1"],
            part="27C256",
        ),
    )
    codes = mosaic(board, tiles=20, flips=())
    contents = tiles([coded(board, codes=codes)], board)
    assert np.array_equal(shown(board, contents), codes)
    assert any("areas.d0 cannot be chosen for each tile; held at 0" in note for note in contents.notes)


def test_boards_without_a_map_are_sent_elsewhere(board, coded):
    with pytest.raises(ArrangementError, match="the board has no tile map; use bank_pictures"):
        tiles([coded(board)], board)


def test_match_takes_some_of_the_pictures(tile_board, coded, banks, mosaic):
    board = tile_board()
    pictures = [coded(board, c, codes=mosaic(board, seed=seed)) for seed, c in enumerate(["sea", "shore", "hut"])]
    assert banks(tiles(pictures, board, match="s*")) == {"sea": 0, "shore": 1}
    with pytest.raises(ArrangementError, match="no picture matches 'q\\*'; use one of hut, sea, shore"):
        tiles(pictures, board, match="q*")


def test_identical_pictures_share_a_map_when_asked(tile_board, coded, banks, mosaic):
    board = tile_board()
    picture = coded(board, codes=mosaic(board))
    again = replace(picture, origin=replace(picture.origin, name="b"))
    assert banks(tiles([picture, again], board, share=True)) == {"a": 0, "b": 0}


def test_what_is_too_large_is_refused(tile_board, coded, mosaic, monkeypatch):
    board = tile_board()
    picture = coded(board, codes=mosaic(board))
    monkeypatch.setattr(tiling, "_MOST_PLACES", 300 * 64 - 1)
    with pytest.raises(ArrangementError, match="make 300 tiles of 64 pixels each"):
        tiles([picture], board)
    monkeypatch.setattr(tiling, "_MOST_DRIVES", 11)
    with pytest.raises(ArrangementError, match="have 12 differently driven address pins together; 11 is the most"):
        tiles([picture], board)
