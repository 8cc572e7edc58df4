import json

import numpy as np
import pytest

from ladderlight import DeviceFileError
from ladderlight.board import PARTS, Device
from ladderlight.devices.burned import burn_of, burned_image, device_image, parse_record, record, runs
from ladderlight.errors import UsageError


@pytest.fixture
def two(make_board, memory):
    """Two memories, each with a device of its own."""
    return make_board(
        memory("low", address=["x2-x9"], data=["b0-b1", "g0-g1"], part="2716"),
        memory("high", address=["x2-x9"], data=["r0-r1"], part="27C1024"),
    )


def words_of(board, seed=3):
    rng = np.random.default_rng(seed)
    return {m.name: rng.integers(0, 1 << m.part.width, m.words, dtype=np.uint32) for m in board.memories}


def test_what_is_recorded_comes_back_through_json(two):
    words = words_of(two)
    noted = parse_record("burned.json", json.dumps(record(two, words)))
    for device in two.devices:
        assert burned_image(noted, device) == device_image(words, device)
    assert device_image(words, two.devices[1]) == words["high"].astype("<u2").tobytes()
    assert list(noted["devices"]) == ["high", "low"]


def test_one_device_is_recorded_and_the_others_stay(two):
    old, new = words_of(two, 3), words_of(two, 4)
    noted = record(two, new, ("low",), before=record(two, old))
    assert burned_image(noted, two.devices[0]) == device_image(new, two.devices[0])
    assert burned_image(noted, two.devices[1]) == device_image(old, two.devices[1])
    only = record(two, new, ("high",))
    assert burned_image(only, two.devices[0]) is None


def test_an_unknown_device_is_named_with_the_nearest(two):
    with pytest.raises(UsageError, match="no device 'hihg'; did you mean 'high'"):
        record(two, words_of(two), ("hihg",))


def test_another_part_in_the_socket_is_not_the_noted_chip(two):
    noted = record(two, words_of(two))
    device = two.devices[0]
    assert burned_image(noted, Device(name="low", memory="low", part=PARTS["2732"], index=0)) is None
    noted["devices"]["low"]["part"] = "28C16"
    assert burned_image(noted, device) is None


@pytest.mark.parametrize("change", [{"image": "AAAA"}, {"image": "no base 64"}, {"sha256": "00"}, {"image": None}])
def test_a_damaged_record_is_an_error(two, change):
    noted = record(two, words_of(two))
    noted["devices"]["low"] |= change
    with pytest.raises(DeviceFileError, match="noted of device 'low' is damaged"):
        burned_image(noted, two.devices[0])


@pytest.mark.parametrize("text", ["", "[]", '{"format": 2, "devices": {}}', '{"format": 1, "devices": []}'])
def test_what_is_not_a_record_is_an_error(text):
    with pytest.raises(DeviceFileError, match=r"burned\.json: not"):
        parse_record("burned.json", text)


def chip(number):
    return Device(name="chip", memory="chip", part=PARTS[number], index=0)


def noted_of(device, image):
    """A record as ``record`` writes it, for a device outside a board."""
    import base64
    import hashlib
    import zlib

    entry = {"part": device.part.number, "bytes": len(image), "sha256": hashlib.sha256(image).hexdigest()}
    return {"format": 1, "devices": {"chip": entry | {"image": base64.b64encode(zlib.compress(image)).decode()}}}


def changed(image, changes):
    image = bytearray(image)
    for at, value in changes.items():
        image[at] = value
    return bytes(image)


def test_nothing_noted_means_burn():
    burn = burn_of(None, chip("2716"), bytes(2048))
    assert (burn.needed, burn.known, burn.differing, burn.eraser, burn.blocks) == (True, False, 0, None, None)


def test_a_new_chip_holds_nothing_already():
    device = chip("2716")
    burn = burn_of(None, device, b"\xff" * 2048)
    assert (burn.needed, burn.text) == (False, "all FFh: a new or erased chip holds this already")
    assert burn_of(noted_of(device, bytes(2048)), device, b"\xff" * 2048).needed


def test_the_same_means_leave():
    device = chip("28C64")
    burn = burn_of(noted_of(device, bytes(8192)), device, bytes(8192))
    assert (burn.needed, burn.differing, burn.blocks, burn.block_count) == (False, 0, (), 0)


@pytest.mark.parametrize(("old", "new", "eraser"), [(0xFF, 0x12, False), (0x13, 0x12, False), (0x12, 0x13, True)])
def test_light_is_needed_only_where_bits_must_be_set(old, new, eraser):
    device = chip("2716")
    before = bytes([old]) * 2048
    burn = burn_of(noted_of(device, before), device, changed(before, {7: new}))
    assert (burn.needed, burn.differing, burn.eraser, burn.blocks) == (True, 1, eraser, None)


def test_one_bit_to_set_among_many_to_clear_needs_the_eraser():
    device = chip("2716")
    before = b"\xfe" * 2048
    after = changed(bytes(2048), {2047: 0x01})
    assert burn_of(noted_of(device, before), device, after).eraser is True


def test_pages_and_sectors_that_differ():
    device = chip("28C256")
    after = changed(bytes(32768), {0: 1, 63: 1, 64: 1, 300: 1, 32767: 1})
    burn = burn_of(noted_of(device, bytes(32768)), device, after)
    assert (burn.eraser, burn.block, burn.block_count) == (None, 64, 4)
    assert burn.blocks == ((0, 127), (256, 319), (32704, 32767))
    flash = chip("39SF010A")
    burn = burn_of(noted_of(flash, bytes(131072)), flash, changed(bytes(131072), {4095: 1, 8192: 1}))
    assert burn.blocks == ((0, 4095), (8192, 12287))


def test_runs_of_nothing():
    assert runs(np.array([], dtype=np.int64)) == ()
