"""The output folder: everything is written aside first and put in place at the end, so a failure changes nothing."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from ladderlight.errors import BuildError

OURS = ("devices", "proof", "manifest.json", "burn-sheet.txt", "burn-sheet.html")
"""What a build puts into its output folder; everything else there is left alone."""


@contextmanager
def staged_output(output: Path) -> Iterator[Path]:
    """Give a folder to write into; when the block ends without an error its entries replace those in ``output``.

    Raises
    ------
    BuildError
        When the folder cannot be written, or holds things of these names that no build has put there.
    """
    refuse_foreign(output)
    try:
        output.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(prefix=".building-", dir=output))
    except OSError as error:
        raise BuildError(f"{output}: cannot be written ({error.strerror}); choose another output folder") from error
    try:
        new = aside / "new"
        new.mkdir()
        yield new
        try:
            _put_in_place(new, aside / "old", output)
        except OSError as error:
            raise BuildError(
                f"{output}: the new files cannot be put in place ({error}); the old ones are as they were"
            ) from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)


def write_whole(path: Path, data: bytes) -> None:
    """Write one file beside its place first, and put it there whole; folders are made.

    Raises
    ------
    BuildError
        When it cannot be written.
    """
    aside = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".writing-", delete=False) as file:
            aside = Path(file.name)
            file.write(data)
        aside.chmod(0o644)
        aside.replace(path)
    except OSError as error:
        if aside is not None:
            aside.unlink(missing_ok=True)
        raise BuildError(f"{path}: cannot be written ({error.strerror}); choose another place") from error


def refuse_foreign(output: Path) -> None:
    """Check that building into a folder loses nothing of anyone else's.

    Raises
    ------
    BuildError
        When the folder has entries that a build would replace but no manifest that a build has written.
    """
    if output.exists() and not output.is_dir():
        raise BuildError(f"{output}: is a file; choose another output folder")
    if (output / "manifest.json").is_file():
        return
    foreign = [name for name in OURS if (output / name).exists()]
    if foreign:
        raise BuildError(
            f"{output}: has {', '.join(foreign)} that no build has written; move it away or choose another output"
        )


def _put_in_place(new: Path, old: Path, output: Path) -> None:
    old.mkdir()
    moved: list[tuple[Path, Path]] = []
    try:
        for name in OURS:
            if (output / name).exists():
                _move(output / name, old / name, moved)
        for entry in sorted(new.iterdir()):
            _move(entry, output / entry.name, moved)
    except OSError:
        for source, target in reversed(moved):
            with suppress(OSError):
                target.rename(source)
        raise


def _move(source: Path, target: Path, moved: list[tuple[Path, Path]]) -> None:
    source.rename(target)
    moved.append((source, target))
