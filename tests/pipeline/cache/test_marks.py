"""Marks of files: a file that may have changed is read."""

from __future__ import annotations

import hashlib
import json
import os
import time
from dataclasses import replace
from pathlib import Path

import pytest

from ladderlight.cache.marks import Seen, as_json, from_json, know_program, program_files
from ladderlight.system.paths import mark_of


def written(path: Path, content: bytes, *, age: float = 0.0) -> Path:
    path.write_bytes(content)
    if age:
        time.sleep(age)
    return path


def test_the_digest_is_that_of_the_content(tmp_path: Path) -> None:
    seen = Seen.now(written(tmp_path / "a", b"quay"))
    assert (seen.size, seen.sha256) == (4, hashlib.sha256(b"quay").hexdigest())


def test_a_file_at_rest_is_known_without_being_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path / "a", b"quay", age=0.1)
    seen = Seen.now(path)
    assert seen.settled
    monkeypatch.setattr("hashlib.file_digest", None)
    assert seen.still(path)
    assert seen.is_surely(path)


def test_a_file_that_was_written_just_before_is_read_again(tmp_path: Path) -> None:
    """It may be written again while the file system's clock stands still, with the same size."""
    path = written(tmp_path / "a", b"quay")
    seen = Seen.now(path)
    assert not seen.settled
    assert not seen.is_surely(path)
    assert seen.still(path)
    path.write_bytes(b"mole")
    same = replace(seen, mark=mark_of(path))  # as if the clock had stood still
    assert not same.still(path)


def test_times_in_whole_seconds_are_trusted_later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """FAT keeps times of change in steps of two seconds (Microsoft, FAT32 File System Specification 1.03)."""
    path = written(tmp_path / "a", b"quay")
    for module in ("cache.marks", "system.paths"):
        monkeypatch.setattr(f"ladderlight.{module}.mark_in", lambda _: (4, 100 * 10**9, 100 * 10**9, 7))
    for now, settled in ((101.9, False), (103.0, True)):
        monkeypatch.setattr("time.time_ns", lambda now=now: int(now * 1e9))
        assert Seen.now(path).settled is settled


def test_the_programs_files_are_not_read_again_by_later_processes(tmp_path: Path, monkeypatch) -> None:
    path = written(tmp_path / "a.py", b"quay", age=0.1)
    monkeypatch.setattr("ladderlight.cache.marks._READ", {})
    monkeypatch.setattr("ladderlight.cache.marks._KNOWN", {})
    seen = Seen.once(str(path))
    kept = as_json(program_files())
    monkeypatch.setattr("ladderlight.cache.marks._READ", {})
    monkeypatch.setattr(Seen, "now", None)
    know_program(from_json(json.loads(json.dumps(kept))))
    assert Seen.once(str(path)) == seen


@pytest.mark.parametrize("age", [0.0, 0.1])
def test_a_changed_file_of_the_program_is_read_even_at_the_same_size(tmp_path: Path, monkeypatch, age: float) -> None:
    """Of a file that was only just written, the mark shows nothing: it is not believed, whatever it is."""
    path = written(tmp_path / "a.py", b"quay", age=age)
    seen = Seen.now(path)
    path.write_bytes(b"mole")
    monkeypatch.setattr("ladderlight.cache.marks._READ", {})
    monkeypatch.setattr(
        "ladderlight.cache.marks._KNOWN", {str(path): seen if age else replace(seen, mark=mark_of(path))}
    )
    assert Seen.once(str(path)).sha256 == hashlib.sha256(b"mole").hexdigest()


@pytest.mark.parametrize("change", ["content", "longer", "time set back", "another file", "gone", "folder"])
def test_every_change_is_noticed(tmp_path: Path, change: str) -> None:
    path = written(tmp_path / "a", b"quay", age=0.1)
    seen = Seen.now(path)
    before = path.stat()
    if change == "content":
        path.write_bytes(b"mole")
    elif change == "longer":
        path.write_bytes(b"quays")
    elif change == "time set back":
        path.write_bytes(b"mole")
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    elif change == "another file":
        written(tmp_path / "b", b"mole").replace(path)
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    else:
        path.unlink()
        if change == "folder":
            path.mkdir()
    assert not seen.still(path)
    assert not seen.is_surely(path)


def test_marks_come_out_of_json_as_they_went_in(tmp_path: Path) -> None:
    seen = {"a": Seen.now(written(tmp_path / "a", b"quay")), "b": Seen.now(written(tmp_path / "b", b"", age=0.1))}
    assert from_json(json.loads(json.dumps(as_json(seen)))) == seen


def test_a_file_that_changed_since_a_time_may_have_changed_a_tick_before(tmp_path: Path) -> None:
    seen = Seen.now(written(tmp_path / "a", b"quay"))
    changed = max(seen.mark[1:3])
    assert seen.changed_after(changed)
    assert seen.changed_after(changed + 50_000_000)
    assert not seen.changed_after(changed + 100_000_000)
