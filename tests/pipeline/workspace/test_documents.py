"""Reading what is kept between commands; damage of real files is in ``readback/test_recorded.py``."""

from __future__ import annotations

import pytest

from ladderlight.errors import DocumentError
from ladderlight.workspace.documents import DamageError, read_document
from ladderlight.workspace.models import Kept


class Inner(Kept):
    count: int


class Sample(Kept):
    name: str
    inner: list[Inner] = []  # noqa: RUF012 - pydantic copies it


def read(tmp_path, text):
    path = tmp_path / "sample.json"
    path.write_text(text, encoding="utf-8")
    return read_document(path, Sample, "make it anew")


def test_what_is_right_is_read_and_unknown_keys_are_passed_over(tmp_path):
    found = read(tmp_path, '{"name": "a", "more": 1, "inner": [{"count": 2}]}')
    assert (found.name, found.inner[0].count) == ("a", 2)
    assert read(tmp_path, '\ufeff{"name": "a"}').name == "a"  # as some editors save it


def test_a_file_that_is_not_there_is_none(tmp_path):
    assert read_document(tmp_path / "none.json", Sample, "make it anew") is None
    (tmp_path / "file").write_text("")
    assert read_document(tmp_path / "file" / "none.json", Sample, "make it anew") is None


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("{}", "lacks name"),
        ('{"name": 3}', "name does not hold what it should"),
        ('{"name": "a", "inner": [{"count": 1}, {"count": true}]}', "inner[1].count does not hold what it should"),
        ('{"name": "a", "inner": [{}]}', "lacks inner[0].count"),
        ('{"name": "a", "inner": {"a\\nb": 1, "a\\nb": 2}}', "has the key 'a\\nb' twice in one place"),
    ],
)
def test_one_line_names_the_place_and_what_to_do(tmp_path, text, message):
    with pytest.raises(DamageError) as caught:
        read(tmp_path, text)
    assert str(caught.value) == f"{tmp_path / 'sample.json'}: {message}; make it anew"


def test_a_loop_of_links_cannot_be_read(tmp_path):
    path = tmp_path / "loop.json"
    path.symlink_to(path)
    with pytest.raises(DocumentError, match=r"cannot be read .*; check its permissions"):
        read_document(path, Sample, "make it anew")
