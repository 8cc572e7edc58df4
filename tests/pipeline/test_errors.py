"""Errors that a user can correct, and findings."""

from __future__ import annotations

from ladderlight.errors import (
    BuildError,
    Fault,
    Finding,
    PictureError,
    Problem,
    nearest_word,
    ranked,
)

ONE = Problem(where=("focus",), what="focus is outside", action="move it in")
TWO = Problem(where=("keep",), what="keep is unknown", action="")


def test_a_problem_of_an_error_says_the_same_at_a_place() -> None:
    assert Problem.of(PictureError(str(ONE)), "focus") == ONE
    assert Problem.of(PictureError("a; b; c"), "x", 1) == Problem(where=("x", 1), what="a", action="b; c")
    assert str(Problem.of(PictureError(str(TWO)), "keep")) == str(TWO)


def test_places_and_messages_stay_apart_whatever_is_in_them() -> None:
    """Nobody has to split a text at a colon to learn what is meant: both may hold colons."""
    one = Fault(where="C:/a: b.png", message="is 3:2; crop it")
    two = Fault(where="", message="ratio 4:3 is wanted; scale it")
    assert str(one) == "C:/a: b.png: is 3:2; crop it"
    assert BuildError("is 3:2; crop it", where="C:/a: b.png").faults == (one,)
    assert PictureError.of([one, two]).faults == (one, two)
    assert str(PictureError.of([one, two])) == "C:/a: b.png: is 3:2; crop it\nratio 4:3 is wanted; scale it"


def test_upper_and_lower_case_alone_is_nearer_than_any_likeness() -> None:
    assert nearest_word("X2", ["x0", "x2"]) == "did you mean 'x2'?"
    assert nearest_word("RANGE", ["range", "ORANGE"]) == "did you mean 'range'?"
    assert nearest_word("X9", ["x0", "x2"]) == "use one of x0, x2"


def test_errors_come_first_and_the_rest_keeps_its_order() -> None:
    levels = ["note", "caution", "error", "note", "caution"]
    found = [Finding(level=level, where=str(at), message="") for at, level in enumerate(levels)]
    assert [finding.where for finding in ranked(found)] == ["2", "1", "4", "0", "3"]
