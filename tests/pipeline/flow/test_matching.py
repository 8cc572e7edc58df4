"""Patterns that name pictures."""

from __future__ import annotations

import pytest

from ladderlight import file_name, matching

FILES = ["pictures/night-1.png", "pictures/night-2.png", "day/noon [west] 10.webp", "day/noon w 10.webp"]


def meant(pattern: str) -> list[str]:
    return matching(pattern, [(source, (file_name(source), source)) for source in FILES])


@pytest.mark.parametrize(
    ("pattern", "found"),
    [
        ("night-1.png", [0]),
        ("night-*", [0, 1]),
        ("pictures/night-1.png", [0]),
        ("pictures/*", [0, 1]),
        ("night-?.png", [0, 1]),
        ("night-[2-9].png", [1]),
        ("Night-1.png", []),
        ("night-1", []),
        ("*/night-1.png", [0]),
        ("other/*", []),
        ("noon [[]west] *", [2]),
    ],
)
def test_patterns_fit_names_and_paths(pattern: str, found: list[int]) -> None:
    assert meant(pattern) == [FILES[index] for index in found]


def test_a_name_with_brackets_means_itself_and_not_what_it_would_match() -> None:
    assert meant("noon [west] 10.webp") == ["day/noon [west] 10.webp"]
    assert meant("day/noon [west] 10.webp") == ["day/noon [west] 10.webp"]
    assert matching("noon [west] 10.webp", [(FILES[3], ["noon w 10.webp"])]) == ["day/noon w 10.webp"]
