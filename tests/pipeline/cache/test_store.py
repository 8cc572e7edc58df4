"""The cache of pictures: what is in it is whole or not there, and it stays within its room."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from ladderlight.cache.entries import DamagedError
from ladderlight.cache.store import HELD, Cache

KEY, OTHER = "ab" * 32, "cd" * 32


def filled(folder: Path, **more: int) -> Cache:
    cache = Cache(folder, **more)
    assert cache.put(KEY, b"lighthouse")
    return cache


def test_what_was_put_is_found_by_its_key_alone(tmp_path: Path) -> None:
    cache = filled(tmp_path / "cache")
    assert cache.get(KEY) == b"lighthouse"
    assert cache.get(OTHER) is None
    assert Cache(tmp_path / "cache").get(KEY) == b"lighthouse"
    cache.put(KEY, b"harbour")
    assert cache.get(KEY) == b"harbour"


def test_nobody_else_can_look_into_the_folder(tmp_path: Path) -> None:
    cache = filled(tmp_path / "cache")
    assert cache.folder.stat().st_mode & 0o777 == 0o700


def test_parts_are_read_one_by_one_with_their_description(tmp_path: Path) -> None:
    cache = Cache(tmp_path)
    writing = cache.write()
    for part in (b"sea", b"", b"and sky"):
        writing.add(part)
    made = writing.end(KEY, {"colours": [1, 2.5, "grey"]})
    found = cache.find(KEY)
    assert found == made
    assert [bytes(found.read(index)) for index in range(3)] == [b"sea", b"", b"and sky"]
    assert found.about == {"colours": [1, 2.5, "grey"]}
    assert sorted(path.name for path in tmp_path.iterdir()) == [".used", "ab"]


def test_an_entry_that_was_cut_short_is_not_found(tmp_path: Path) -> None:
    cache = filled(tmp_path)
    path = Path(cache.path(KEY))
    whole = path.read_bytes()
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        assert cache.get(KEY) is None, length
    for more in (b"\0", whole):
        path.write_bytes(whole + more)
        assert cache.get(KEY) is None


def test_no_single_byte_of_an_entry_can_change_unnoticed(tmp_path: Path) -> None:
    cache = filled(tmp_path)
    path = Path(cache.path(KEY))
    whole = path.read_bytes()
    for place in range(len(whole)):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0x10]) + whole[place + 1 :])
        assert cache.get(KEY) is None, place
    path.write_bytes(whole)
    assert cache.get(KEY) == b"lighthouse"


def test_an_entry_in_place_of_another_is_not_found(tmp_path: Path) -> None:
    cache = filled(tmp_path)
    cache.put(OTHER, b"harbour")
    one, other = Path(cache.path(KEY)), Path(cache.path(OTHER))
    held = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(held)
    assert cache.get(KEY) is None
    assert cache.get(OTHER) is None


def test_a_damaged_part_is_removed_when_it_is_read(tmp_path: Path) -> None:
    cache = filled(tmp_path)
    path = Path(cache.path(KEY))
    path.write_bytes(b"L" + path.read_bytes()[1:])
    found = cache.find(KEY)
    assert found is not None
    with pytest.raises(DamagedError):
        found.read(0)
    assert not path.exists()
    with pytest.raises(DamagedError):
        found.read(0)


def test_what_is_no_file_is_not_found(tmp_path: Path) -> None:
    cache = filled(tmp_path)
    Path(cache.path(KEY)).unlink()
    Path(cache.path(KEY)).mkdir()
    assert cache.get(KEY) is None
    assert not cache.put(KEY, b"harbour")


def test_entries_of_another_user_are_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cache = filled(tmp_path)
    monkeypatch.setattr("os.geteuid", lambda: os.getuid() + 1)
    assert cache.get(KEY) is None


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO])
def test_where_nothing_can_be_written_nothing_is_kept_and_nothing_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    cache = filled(tmp_path)

    def failing(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("ladderlight.cache.entries.EntryWriter.add", failing)
    assert not cache.put(OTHER, b"harbour")
    assert cache.get(KEY) == b"lighthouse"
    assert sorted(path.name for path in tmp_path.iterdir()) == [".used", "ab"]
    monkeypatch.undo()
    assert not cache.put(OTHER, b"harbour")  # it is not tried again and again
    assert Cache(tmp_path).put(OTHER, b"harbour")


def test_the_entry_used_longest_ago_goes_first(tmp_path: Path) -> None:
    """Six entries of 1,000 bytes each and some for their description, of which 5,000 bytes hold four."""
    cache = Cache(tmp_path)
    keys = [f"{number:02}" * 32 for number in range(4)]
    for age, key in enumerate(keys):
        cache.put(key, bytes(1000))
        os.utime(Path(cache.path(key)), (1e9 - age, 1e9 - age))
    later = Cache(tmp_path, room=5000)
    assert later.get(keys[3]) is not None  # which makes it the latest
    assert later.put("99" * 32, bytes(1000))
    assert [Path(later.path(key)).exists() for key in keys] == [True, True, False, True]
    assert sum(path.stat().st_size for path in tmp_path.rglob("*") if path.is_file()) <= 5000


def test_what_a_build_uses_itself_does_not_go(tmp_path: Path) -> None:
    cache = Cache(tmp_path, room=2500)
    kept = [cache.put(f"{number:02}" * 32, bytes(1000)) for number in range(4)]
    assert kept == [True, True, False, False]


@pytest.fixture
def looks(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The sizes for which a folder has been looked through."""
    found: list[int] = []
    trimmed = Cache._trimmed
    monkeypatch.setattr(Cache, "_trimmed", lambda cache, size: found.append(size) or trimmed(cache, size))
    return found


def test_a_cache_filled_by_one_build_is_not_looked_through_for_each_entry(tmp_path: Path, looks: list[int]) -> None:
    """Of thousands of pictures each would cost a look at all the others."""
    cache = Cache(tmp_path, room=2500)
    assert sum(cache.put(f"{number:02}" * 32, bytes(1000)) for number in range(30)) == 2
    assert len(looks) == 2  # when the first entry is written, and when the room is full
    assert cache.put(KEY, bytes(100))  # what still fits is kept


def test_a_folder_with_room_is_looked_through_once_and_not_by_each_build(tmp_path: Path, looks: list[int]) -> None:
    """Each entry of 1,000 bytes is noted with a page of 4,096, so that a room of 20,000 may be full with the fifth."""
    for number in range(10):
        assert Cache(tmp_path, room=20_000).put(f"{number:02}" * 32, bytes(1000))
    assert len(looks) == 3
    (tmp_path / ".used").unlink()
    assert Cache(tmp_path, room=20_000).put(KEY, bytes(1000))
    assert len(looks) == 4
    assert sum(path.stat().st_size for path in tmp_path.rglob("*") if path.is_file()) <= 20_000


def test_what_killed_builds_have_left_goes_when_room_is_needed(tmp_path: Path) -> None:
    fresh, stale = tmp_path / ".part-1-0", tmp_path / ".part-2-0"
    for path, age in ((fresh, 60), (stale, 2 * 3600)):
        path.write_bytes(bytes(1000))
        os.utime(path, (time.time() - age,) * 2)
    assert Cache(tmp_path, room=2500).put(KEY, bytes(1000))
    assert (fresh.exists(), stale.exists()) == (True, False)


def test_clearing_removes_the_entries_and_nothing_else(tmp_path: Path) -> None:
    cache = filled(tmp_path / "cache")
    size = Path(cache.path(KEY)).stat().st_size
    (cache.folder / "notes.txt").write_text("mine")
    (cache.folder / "ab" / "mine.txt").write_text("mine")
    (cache.folder / "letters").mkdir()
    assert cache.clear() == size
    assert sorted(path.name for path in cache.folder.rglob("*") if path.is_file()) == ["mine.txt", "notes.txt"]
    assert Cache(tmp_path / "nothing").clear() == 0


WRITER = """
import sys
from pathlib import Path
from ladderlight.cache.store import Cache
cache = Cache(Path(sys.argv[1]), room=30_000)
for number in range(200):
    key = f"{number % 40:02x}" * 32
    found = cache.get(key)
    assert found in (None, key.encode() * 16), found
    cache.put(key, key.encode() * 16)
"""


def test_two_processes_use_one_folder_at_once(tmp_path: Path) -> None:
    """Both write, read and make room in it; neither fails nor finds what is not whole."""
    both = [subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path)]) for _ in range(2)]
    assert [process.wait(timeout=120) for process in both] == [0, 0]
    assert not list(tmp_path.glob(".part-*"))


def test_a_cache_for_one_build_is_gone_with_it() -> None:
    cache = Cache.for_one_build()
    folder = cache.folder
    assert cache.put(KEY, b"lighthouse")
    assert folder.exists()
    del cache
    assert not folder.exists()


def test_caches_of_builds_that_were_killed_a_day_ago_are_gone_with_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    left, at_work, others = (
        tmp_path / f"ladderlight-{KEY}",
        tmp_path / f"ladderlight-{OTHER}",
        tmp_path / "ladderlight-a",
    )
    for folder, hours in ((left, 25), (at_work, 23), (others, 25)):
        filled(folder)
        os.utime(folder, (time.time() - hours * 3600,) * 2)
    Cache.for_one_build()
    assert sorted(tmp_path.iterdir()) == sorted([at_work, others])


def test_only_what_no_later_build_reads_is_held_in_memory_and_not_without_limit(tmp_path: Path) -> None:
    assert not Cache(tmp_path).holds(1)
    cache = Cache.for_one_build()
    assert [cache.holds(HELD // 2) for _ in range(3)] == [True, True, False]
