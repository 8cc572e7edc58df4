"""From where a screen is looked at."""

from __future__ import annotations

from ladderlight import Viewing


def test_what_is_given_takes_the_place_of_what_the_recipe_says() -> None:
    viewing = Viewing(distance=1.5, screen_width=0.4)
    assert viewing.changed() == viewing
    assert viewing.changed(distance=2.0) == Viewing(distance=2.0, screen_width=0.4)
    assert viewing.changed(screen_width=0.2) == Viewing(distance=1.5, screen_width=0.2)


def test_a_recipe_need_not_say_the_distance() -> None:
    assert Viewing().distance is None
    assert Viewing().changed(distance=3.0).distance == 3.0
