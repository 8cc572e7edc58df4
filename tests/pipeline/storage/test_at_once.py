"""Several programs at one output folder."""

from __future__ import annotations

import contextlib
import os
import traceback
from pathlib import Path

import pytest

from ladderlight.errors import BuildError
from ladderlight.storage import output
from ladderlight.storage.locking import locked
from ladderlight.storage.output import settled

from .conftest import FILES, NOTES, Project, whole


def test_a_second_build_at_once_says_so(project: Project, monkeypatch: pytest.MonkeyPatch) -> None:
    project.build("first")
    monkeypatch.setattr(output, "_BUILD_PATIENCE", 0.0)
    with locked(project.out / ".ladderlight" / "building.lock"), pytest.raises(BuildError) as error:
        project.build("second")
    assert str(error.value) == (
        f"{project.out}: another build is at work here; run the command again when it has ended"
    )
    assert project.state() == whole("first")


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked")
@pytest.mark.filterwarnings("ignore:.*multi-threaded, use of fork:DeprecationWarning")
def test_builds_at_once_never_mix_and_readers_see_one_build(project: Project) -> None:
    project.build("0")
    project.put(NOTES)
    for number in range(1, 41):
        children = [_forked(lambda text=text: project.build(text)) for text in (f"{number}a", f"{number}b")]
        children.append(_forked(lambda: _read_ten_times(project)))
        assert [os.waitpid(child, 0)[1] for child in children] == [0, 0, 0]
        assert project.state() in [whole(f"{number}{which}") | NOTES for which in "ab"]
        assert project.private() == {"record.json"}


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked")
@pytest.mark.filterwarnings("ignore:.*multi-threaded, use of fork:DeprecationWarning")
def test_a_program_without_our_locks_sees_a_manifest_beside_its_own_files_alone(project: Project) -> None:
    """The manifest is the first to go and the last to come: what lies there between two looks at it belongs to it."""
    project.build("0")
    child = _forked(lambda: [project.build(f"{number}") for number in range(1, 41)])
    seen = set()
    while os.waitpid(child, os.WNOHANG) == (0, 0):
        with contextlib.suppress(FileNotFoundError):  # of the manifest
            before = (project.out / "manifest.json").read_text()
            found = [_text(project.out / name) for name in FILES]
            if (project.out / "manifest.json").read_text() == before:
                assert found == [before] * len(FILES)
                seen.add(before)
    assert len(seen) > 10


def _text(path: Path) -> str:
    return path.read_text() if path.exists() else ""


def _read_ten_times(project: Project) -> None:
    for _ in range(10):
        with settled(project.out):
            found = project.state()
        assert found == whole(found["manifest.json"]) | NOTES


def _forked(work) -> int:  # type: ignore[no-untyped-def]
    child = os.fork()
    if not child:
        status = 1
        try:
            work()
            status = 0
        except BaseException:
            traceback.print_exc()
            raise
        finally:
            os._exit(status)
    return child
