"""How large a board's pixels appear."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from ladderlight import Board, Viewing
from ladderlight_stages.perception.vision import at_some_distance, density_of


def test_a_screen_of_32_cm_has_160_pixels_of_2_mm(board: Board) -> None:
    """A degree is 10.47 mm at 60 cm, and four times that at 2.4 m."""
    across, down = density_of(board, Viewing(screen_width=0.32, distance=0.6))
    assert across == pytest.approx(5.236, abs=1e-3)
    assert down == pytest.approx(across)
    assert density_of(board, Viewing(screen_width=0.32, distance=2.4)) == pytest.approx((20.94, 20.94), abs=1e-2)


def test_tall_pixels_are_fewer_to_a_degree_down(make_board: Callable[..., Board], memory: Callable) -> None:
    board = make_board(memory(address=["x2-x9", "y3-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    across, down = density_of(board, Viewing(screen_width=0.32, distance=0.6))
    assert down == pytest.approx(across / 2)


def test_the_usual_distance_stands_in_when_none_is_said(board: Board) -> None:
    assert at_some_distance(Viewing(screen_width=0.4)) == Viewing(distance=0.6, screen_width=0.4)
    assert at_some_distance(Viewing(distance=2.0)) == Viewing(distance=2.0)
    assert density_of(board, Viewing()) == density_of(board, Viewing(screen_width=0.3, distance=0.6))
    assert density_of(board, Viewing(distance=2.0)) == density_of(board, Viewing(screen_width=0.3, distance=2.0))
