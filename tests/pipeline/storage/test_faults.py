"""Builds that fail, are killed or are stopped at every step at which they touch the disk."""

from __future__ import annotations

import errno
import itertools
import os
import signal
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from ladderlight.errors import BuildError
from ladderlight.storage.output import settled
from ladderlight.storage.stopping import unwinding

from ..failing_disk import CALLS, Disk
from .conftest import NOTES, Project, whole

pytestmark = [
    pytest.mark.skipif(os.name == "nt", reason="processes are forked"),
    pytest.mark.filterwarnings("ignore:.*multi-threaded, use of fork:DeprecationWarning"),
]

CHANGED = {"devices/left/map.bin": "patched"}
"""A file of the last build that the user has changed."""
KEPT = {f"edited/{name}": text for name, text in CHANGED.items()}
FAILURES = {
    "full once": (errno.ENOSPC, ()),
    "damaged from then on": (errno.EIO, (*CALLS, "write")),
    "names cannot be changed from then on": (errno.EIO, ("rename",)),
}
"""How a disk fails at a step, and which calls fail after it."""


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder in memory where there is one. What a loss of power alone would show is left out: it takes the time."""
    monkeypatch.setattr(os, "fsync", lambda _: None)
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        yield Path(folder)


def begun(folder: Path, old: str | None) -> tuple[Project, dict[str, str], dict[str, str]]:
    """Make a project with files of the user in its output folder; give its states before and after the next build."""
    folder.mkdir()
    project = Project(folder=folder)
    if old is None:
        return project, {}, whole("new")
    project.build(old)
    project.put(NOTES | CHANGED)
    assert project.state() == whole(old) | NOTES | CHANGED
    return project, whole(old) | NOTES | CHANGED, whole("new") | NOTES | KEPT


def steps(folder: Path, old: str | None) -> int:
    """Count the calls of one build."""
    project, _, after = begun(folder / "counted", old)
    with Disk(lambda: None, 0).installed() as disk:
        project.build("new")
    assert project.state() == after
    return disk.calls


def look(project: Project) -> dict[str, str]:
    """Read an output folder as a command does."""
    with settled(project.out):
        return project.state() if project.out.exists() else {}


def assert_settled(project: Project, states: list[dict[str, str]]) -> None:
    """Check that the next command that reads finds one whole build and nothing else, and that the next build works."""
    found = look(project)
    assert found in states
    assert project.state() == found if project.out.exists() else found == {}
    if (project.out / ".ladderlight").exists():
        assert project.private() <= {"record.json"}
    project.build("next")
    assert project.state() == whole("next") | (NOTES | KEPT if NOTES.keys() <= states[-1].keys() else {})
    assert project.private() == {"record.json"}


OLD = pytest.mark.parametrize("old", [None, "old"], ids=["first build", "second build"])


@OLD
@pytest.mark.parametrize("failure", FAILURES)
def test_a_disk_that_fails_at_any_step(quick: Path, old: str | None, failure: str) -> None:
    number, then = FAILURES[failure]

    def fail() -> None:
        raise OSError(number, os.strerror(number))

    told = set()
    for at in range(1, steps(quick, old) + 1):
        project, before, after = begun(quick / f"{at}", old)
        said = ""
        with Disk(fail, at, then=then).installed():
            try:
                project.build("new")
            except BuildError as error:
                said = str(error)
            except OSError as error:  # of the writing in the test itself
                said = f"nothing was replaced: {error}"
        if "nothing was replaced" in said:
            assert look(project) == before
        elif not said:
            assert look(project) == after
        else:
            assert "which finishes it" in said
        told.add(said.partition(" (")[0].rpartition(": ")[2])
        assert_settled(project, [before, after])
    assert "" in told
    broken_off = "a build was interrupted while its files were put in place, and cannot be finished"
    assert (broken_off if then else "the new files cannot be put in place") in told


@OLD
def test_a_build_that_is_killed_at_any_step(quick: Path, old: str | None) -> None:
    for at in range(1, steps(quick, old) + 1):
        project, before, after = begun(quick / f"{at}", old)
        assert _in_child(project, at) == signal.SIGKILL
        assert_settled(project, [before, after])


@OLD
def test_a_command_that_is_killed_while_it_finishes_a_killed_build(quick: Path, old: str | None) -> None:
    last = steps(quick, old)
    for at in range(last - 30, last, 5):
        for again in range(1 + at % 7, 40, 7):
            project, before, after = begun(quick / f"{at}-{again}", old)
            _in_child(project, at)
            _in_child(project, again, look)
            assert_settled(project, [before, after])


@OLD
@pytest.mark.usefixtures("signals_heard")
def test_a_stop_at_any_step_says_what_is_in_place(quick: Path, old: str | None) -> None:
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    notes = set()
    for at in range(1, steps(quick, old) + 1):
        number = numbers[at % len(numbers)]
        project, before, after = begun(quick / f"{at}", old)
        disk = Disk(lambda number=number: signal.raise_signal(number), at)
        with unwinding(), disk.installed(), pytest.raises(KeyboardInterrupt) as stop:
            project.build("new")
        (note,) = stop.value.__notes__
        notes.add((note, number))
        assert look(project) == {"nothing was replaced": before, "the new build is in place": after}[note]
        assert_settled(project, [before, after])
    assert notes == set(itertools.product(("nothing was replaced", "the new build is in place"), numbers))


def _in_child(
    project: Project, at: int, work: Callable[[Project], object] = lambda project: project.build("new")
) -> int:
    """Work in another process that is killed at a step. Returns the signal that ended it."""
    child = os.fork()
    if not child:
        with Disk(lambda: os.kill(os.getpid(), signal.SIGKILL), at).installed():
            work(project)
        os._exit(0)
    return os.WTERMSIG(os.waitpid(child, 0)[1])
