"""Source pictures on the page, no better than it can bear."""

import io

import numpy as np
from PIL import Image

from ladderlight.flow.pictures import SourceView
from ladderlight.proof.page.storing import room_for_views, stored_size, stored_views


def views_of(count, size=(160, 120)):
    """Noise, the hardest of all pictures, each with its own place in its file."""
    rng = np.random.default_rng(1)
    found = {}
    for number in range(count):
        file = io.BytesIO()
        coarse = Image.fromarray(rng.integers(0, 256, (size[1] // 4, size[0] // 4, 3), dtype=np.uint8))
        coarse.resize(size, Image.Resampling.BICUBIC).save(file, format="JPEG", quality=75)
        found[f"p{number}"] = SourceView(data=file.getvalue(), size=(900, 600), crop=(number, 0, 800, 600))
    return found


def weight_of(stored):
    return sum(len(each["data"]) for each in stored)


def test_they_stay_as_they_are_where_there_is_room():
    views = views_of(3)
    stored, numbers = stored_views(views | {"again": views["p1"]}, 1 << 20)
    assert numbers == {"p0": 0, "p1": 1, "p2": 2, "again": 1}
    assert weight_of(stored) == sum(stored_size(len(view.data)) for view in views.values())
    assert [each["crop"] for each in stored] == [(number, 0, 800, 600) for number in range(3)]


def test_they_get_worse_until_they_fit_and_then_fewer():
    views = views_of(40)
    whole = sum(stored_size(len(view.data)) for view in views.values())
    for share, kept in ((0.6, 40), (0.2, 40), (0.08, 40)):
        stored, numbers = stored_views(views, round(share * whole))
        assert len(stored) == len(numbers) == kept
        assert weight_of(stored) <= share * whole
    stored, numbers = stored_views(views, 2000)
    kept = [int(name[1:]) for name in numbers]
    assert 3 <= len(stored) == len(kept) <= 6
    assert set(np.diff(kept)) == {kept[1]}  # evenly


def test_the_room_is_what_words_leave_of_the_weight_that_a_page_may_have():
    assert room_for_views((160, 120), 4, 300_000) == 590_000
    assert room_for_views((160, 120), 64, 2_000_000) == 20_000
    assert room_for_views((320, 240), 64, 2_000_000) == 1_560_000
    assert room_for_views((20, 15), 4, 300_000) == 590_000
