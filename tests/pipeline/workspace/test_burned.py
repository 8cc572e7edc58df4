import base64
import json
import tracemalloc
import zlib

import numpy as np
import pytest

from ladderlight.board import PARTS, Device
from ladderlight.devices.files import images_of
from ladderlight.errors import DocumentError
from ladderlight.workspace.burned import burn_of, chip_of
from ladderlight.workspace.documents import read_document
from ladderlight.workspace.models import Record

KEY = ("recipe.toml", "high")


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


def read(tmp_path, text):
    path = tmp_path / "burned.json"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_document(path, Record, "record again")


def by_device(record, *of):
    return {chip.device: chip for chip in record.of_recipe(*of)}


def record(board, words, recipe="recipe.toml"):
    return Record(chips=[chip_of(recipe, device, images_of(board, words)[device.name]) for device in board.devices])


def test_what_is_recorded_comes_back_through_the_file(two, tmp_path):
    words = words_of(two)
    chips = by_device(read(tmp_path, record(two, words).text), "recipe.toml")
    assert list(chips) == ["low", "high"]
    for device in two.devices:
        assert chips[device.name].contents.tobytes() == images_of(two, words)[device.name]
    assert images_of(two, words)["high"] == words["high"].astype("<u2").tobytes()


def test_other_recipes_stay_byte_for_byte(two, tmp_path):
    old, new = words_of(two, 3), words_of(two, 4)
    both = record(two, old).with_chips(record(two, new, "other.toml").chips)
    again = read(tmp_path, both.text).with_chips([chip_of("other.toml", two.devices[0], images_of(two, old)["low"])])
    (before,) = [chip for chip in json.loads(both.text)["chips"] if (chip["recipe"], chip["device"]) == KEY]
    assert json.dumps(before, indent=2).replace("\n", "\n    ") in again.text
    assert again.of_recipe("recipe.toml") == both.of_recipe("recipe.toml")
    assert by_device(again, "other.toml")["low"].contents.tobytes() == images_of(two, old)["low"]
    assert by_device(again, "other.toml")["high"].contents.tobytes() == images_of(two, new)["high"]


def test_reading_contents_does_not_change_what_is_written(two):
    held = record(two, words_of(two))
    text = held.text
    assert all(chip.contents is not None for chip in held.chips)
    assert held.adopted_by("recipe.toml", ["low"]).text == text


def test_what_a_later_version_records_by_more_keys_is_kept_and_not_mistaken(two, tmp_path):
    held = json.loads(record(two, words_of(two)).text)
    held["chips"][0]["lot"] = 2
    found = read(tmp_path, json.dumps(held))
    assert list(by_device(found, "recipe.toml")) == ["high"]
    after = json.loads(found.with_chips(record(two, words_of(two, 4)).chips).text)
    assert after["chips"][0] == held["chips"][0]
    assert [(chip["device"], chip.get("lot")) for chip in after["chips"]] == [
        ("low", 2),
        ("high", None),
        ("low", None),
    ]


def test_format_1_is_read_as_chips_of_no_recipe(two, tmp_path):
    chips = json.loads(record(two, words_of(two)).text)["chips"]
    entries = {chip.pop("device"): {k: v for k, v in chip.items() if k != "recipe"} for chip in chips}
    found = read(tmp_path, json.dumps({"format": 1, "devices": entries}))
    assert list(by_device(found, None)) == ["low", "high"]
    assert by_device(found, None)["low"].contents.tobytes() == images_of(two, words_of(two))["low"]
    adopted = found.adopted_by("recipe.toml", ["low"])
    assert (list(by_device(adopted, "recipe.toml")), list(by_device(adopted, None))) == (["low"], ["high"])


def test_format_2_is_read_as_chips_of_the_first_tray_and_written_as_format_3(two, tmp_path):
    chips = json.loads(record(two, words_of(two)).text)["chips"]
    found = read(tmp_path, json.dumps({"format": 2, "chips": chips}))
    assert [chip.key for chip in found.chips] == [("recipe.toml", None, 1, "low"), ("recipe.toml", None, 1, "high")]
    assert json.loads(found.text) == {"format": 3, "chips": chips}
    assert [chip.contents.tobytes() for chip in found.chips] == list(images_of(two, words_of(two)).values())


def test_revisions_and_trays_have_chips_of_their_own(two, tmp_path):
    device, image = two.devices[0], images_of(two, words_of(two))["low"]
    more = [{}, {"tray": 2}, {"revision": "b"}, {"revision": "b", "tray": 2}]
    held = Record().with_chips(chip_of("recipe.toml", device, image, **each) for each in more)
    other = bytes(len(image))
    again = read(tmp_path, held.with_chips([chip_of("recipe.toml", device, other, revision="b", tray=2)]).text)
    assert [(chip.revision, chip.tray, chip.contents.tobytes() == image) for chip in again.chips] == [
        (None, 1, True),
        (None, 2, True),
        ("b", 1, True),
        ("b", 2, False),
    ]
    assert [chip.tray for chip in again.of_recipe("recipe.toml", "b")] == [1, 2]
    twice = {"format": 3, "chips": [json.loads(held.text)["chips"][1]] * 2}
    with pytest.raises(DocumentError, match="records one device of a recipe twice; record again"):
        read(tmp_path, json.dumps(twice))


def test_another_part_in_the_socket_needs_a_new_chip(two):
    chips = by_device(record(two, words_of(two)), "recipe.toml")
    device = Device(name="low", memory="low", part=PARTS["2732"], index=0)
    burn = burn_of(chips["low"], device, bytes(4096))
    assert (burn.needed, burn.known, burn.eraser) == (True, False, None)
    assert burn.text == "the recorded chip is a 2716; a new 2732 is needed"
    same_size = chips["low"].model_copy(update={"part": "28C16"})
    assert burn_of(same_size, two.devices[0], bytes(2048)).text == "the recorded chip is a 28C16; a new 2716 is needed"


@pytest.mark.parametrize("change", [{"image": "AAAA"}, {"image": "no base 64"}, {"sha256": "00"}, {"image": "\u00e9"}])
def test_a_damaged_image_counts_as_none(two, change):
    held = chip_of("recipe.toml", two.devices[0], images_of(two, words_of(two))["low"]).model_copy(update=change)
    assert held.contents is None
    assert burn_of(held, two.devices[0], bytes(2048)).text == "no record of this chip; burn it"


def test_an_image_that_unpacks_to_gigabytes_is_not_unpacked(two):
    packed = base64.b64encode(zlib.compress(bytes(1 << 26))).decode()
    held = chip_of("recipe.toml", two.devices[0], images_of(two, words_of(two))["low"]).model_copy(
        update={"image": packed}
    )
    tracemalloc.start()
    assert held.contents is None
    assert tracemalloc.get_traced_memory()[1] < 1 << 20
    tracemalloc.stop()


def chip(number):
    return Device(name="chip", memory="chip", part=PARTS[number], index=0)


def noted_of(device, image):
    """What is recorded of a device of a memory that is one device of 8 bits."""
    return chip_of("recipe.toml", device, image)


def changed(image, changes):
    image = bytearray(image)
    for at, value in changes.items():
        image[at] = value
    return bytes(image)


def test_no_record_means_burn():
    burn = burn_of(None, chip("2716"), bytes(2048))
    assert (burn.needed, burn.known, burn.differing, burn.eraser, burn.blocks) == (True, False, 0, None, None)


def test_a_new_chip_holds_nothing_already():
    device = chip("2716")
    burn = burn_of(None, device, b"\xff" * 2048)
    assert (burn.needed, burn.text) == (False, "all FFh, as a new or erased chip is; no need to burn it")
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
