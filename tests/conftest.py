"""Boards that many tests use."""

from __future__ import annotations

import os
import shutil
import signal
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import HealthCheck, settings

from ladderlight import Contents, MemoryContents, Origin, PlacedPicture
from ladderlight.board import MODES, PARTS, Board, Channel, Counters, Ladder, Memory, Packing, Part, Placement, Raster
from ladderlight.board.advice.checks import problems_of
from ladderlight.board.model.lines import expand, expand_names
from ladderlight.cache.folder import VARIABLE
from ladderlight.proof.page.document import joined_scripts
from ladderlight.recipe import load_revisions
from ladderlight.storage.locking import locked
from ladderlight.workspace.build import build

if TYPE_CHECKING:
    from playwright.sync_api import Browser

collect_ignore = ["example_plugin"]  # its tests run where it is installed
for name in ("COLUMNS", "LINES"):  # lines are folded at so many columns, where a test does not choose others
    os.environ.pop(name, None)
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # each of the many commands that tests start would compile every module
BoardMaker = Callable[..., Board]
LONGEST = {
    "test_at_once",
    "test_example_plugin",
    "test_faults",
    "test_kills",
    "test_ranking",
    "test_recipes",
    "test_stopping",
    "test_wheel",
}
_folders = count()
settings.register_profile("busy", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("busy")  # a busy machine is no error


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put what takes longest first: as the last, one worker would wait for the other.

    What forks is among it: a process forks the slower, the more libraries it has loaded.
    """
    items.sort(key=lambda item: item.path.stem not in LONGEST)


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give each test a cache of pictures of its own: what another has kept would hide what is tested."""
    folder = tmp_path_factory.getbasetemp() / f"cache-{next(_folders)}"
    monkeypatch.setenv(VARIABLE, str(folder))
    return folder


@pytest.fixture(autouse=True)
def no_flushing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out what only a loss of power would show: a build waits for the disk twenty times."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


@pytest.fixture
def signals_heard() -> Iterator[None]:
    """Have stops heard, by processes that a test starts as well: below ``nohup`` and in the background some are not."""
    numbers = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    ignored = [number for number in numbers if signal.getsignal(number) is signal.SIG_IGN]
    for number in ignored:
        signal.signal(number, signal.default_int_handler if number == signal.SIGINT else signal.SIG_DFL)
    yield
    for number in ignored:
        signal.signal(number, signal.SIG_IGN)


@pytest.fixture(scope="session")
def example(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], Path]:
    """Give the folder of a copy of a recipe's project, built once for all tests of a run; it is only read."""
    root = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        root = root.parent  # of all workers
    root = root / "examples"
    root.mkdir(exist_ok=True)

    def built(path: Path) -> Path:
        folder, done = root / path.parent.name, root / f"{path.parent.name}.done"
        with locked(root / f"{path.parent.name}.lock", patience=600):
            if not done.exists():
                ignored = shutil.ignore_patterns("out", "__pycache__")
                shutil.copytree(path.parent, folder, ignore=ignored, dirs_exist_ok=True)
                for recipe in load_revisions(folder / path.name):
                    build(recipe, workers=1, cached=False)
                done.touch()
        return folder

    return built


def weighted_ladder(**channels: dict[str, float]) -> Ladder:
    """A 5 V ladder with ideal drivers; ``grey`` feeds all three guns."""
    guns = {"red": (0,), "green": (1,), "blue": (2,), "grey": (0, 1, 2)}
    return Ladder(
        supply=5.0,
        channels=tuple(Channel(name=name, resistors=table, guns=guns[name]) for name, table in channels.items()),
    )


def make_memory(
    name: str = "picture",
    *,
    address: list[str],
    data: list[str],
    part: str | Part = "27C010",
    **more: object,
) -> Memory:
    """A memory whose lists are written as in a recipe."""
    return Memory(
        name=name,
        part=PARTS[part] if isinstance(part, str) else part,
        address=tuple(pin for entry in address for pin in expand(entry)),
        data=tuple(pin for entry in data for pin in expand_names(entry)),
        **more,  # type: ignore[arg-type]
    )


RGB64 = {
    "red": {"r0": 1330.0, "r1": 715.0},
    "green": {"g0": 1330.0, "g1": 715.0},
    "blue": {"b0": 1330.0, "b1": 715.0},
}
RGB64_DATA = ["b0-b1", "g0-g1", "r0-r1"]


@pytest.fixture
def make_board() -> BoardMaker:
    """Make a board from memories; by default 160x120 pixels in 64 colours with four banks in one 27C010."""

    def make(
        *memories: Memory,
        mode: str = "640x480@60",
        clock: str = "25175000",
        ladder: Ladder | None = None,
        counters: Counters | None = None,
        check: bool = True,
    ) -> Board:
        board = Board(
            raster=Raster(mode=MODES[mode], clock=Fraction(clock)),
            memories=memories or (make_memory(address=["x2-x9", "y2-y8", "bank0-bank1"], data=RGB64_DATA),),
            ladder=ladder or weighted_ladder(**RGB64),
            counters=counters or Counters(),
        )
        if check:
            assert problems_of(board) == []
        return board

    return make


@pytest.fixture
def board(make_board: BoardMaker) -> Board:
    """160x120 pixels in 64 colours (1330 and 715 ohm), four banks in one 27C010."""
    return make_board()


@pytest.fixture
def memory() -> Callable[..., Memory]:
    """Make a memory whose lists are written as in a recipe."""
    return make_memory


@pytest.fixture
def ladder() -> Callable[..., Ladder]:
    """Make a weighted 5 V ladder."""
    return weighted_ladder


@pytest.fixture
def packing() -> type[Packing]:
    """The packing class, for terse tests."""
    return Packing


@pytest.fixture
def random_contents() -> Callable[..., Contents]:
    """Fill every memory of a board with seeded random words, all of them read; no pictures are named."""

    def make(board: Board, seed: int = 1) -> Contents:
        rng = np.random.default_rng(seed)
        memories = {}
        for memory in board.memories:
            words = rng.integers(0, 1 << memory.part.width, memory.words, dtype=np.uint32)
            written = np.full(memory.words, (1 << memory.part.width) - 1, dtype=np.uint32)
            memories[memory.name] = MemoryContents(words=words, written=written)
        return Contents(memories=memories)

    return make


@pytest.fixture
def banked() -> Callable[..., Contents]:
    """Place seeded random pictures, one in each of the given banks, named ``picture-<bank>``."""

    def make(board: Board, banks: tuple[int, ...], seed: int = 1) -> Contents:
        rng = np.random.default_rng(seed)
        placement = Placement(board=board)
        placed = []
        for bank in banks:
            codes = rng.integers(0, len(board.palette), (board.geometry.height, board.geometry.width), dtype=np.uint16)
            placement.put_codes(codes, bank=bank, picture=f"picture-{bank}")
            origin = Origin(name=f"picture-{bank}", source=f"pictures/picture-{bank}.png")
            placed.append(PlacedPicture(origin=origin, bank=bank))
        memories = {n: MemoryContents(words=words, written=mask) for n, (words, mask) in placement.words().items()}
        return Contents(memories=memories, pictures=tuple(placed))

    return make


@pytest.fixture
def program() -> Callable[[str], str]:
    """Find an outside program; skip the test without it, or fail where CI=true promises it."""

    return find_program


def find_program(name: str) -> str:
    path = shutil.which(name)
    if path is None and os.environ.get("CI") == "true":
        pytest.fail(f"{name} is missing; CI must install it")
    if path is None:
        pytest.skip(f"{name} is not installed")
    return path


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium without a window, one for all tests of a module; skip them without it."""
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        arguments = ["--no-sandbox", "--host-resolver-rules=MAP *.example 127.0.0.1"]
        found = playwright.chromium.launch(executable_path=find_program("chromium"), args=arguments)
        yield found
        found.close()


@pytest.fixture(scope="module")
def page_scripts(browser: Browser) -> Any:
    """The scripts of the proof page that need no document, on an empty page: Playwright's ``Page``."""
    page = browser.new_page()
    page.add_script_tag(content=joined_scripts(("unpack", "scan")))
    return page
