"""The engine: runs a recipe's chain over its pictures and writes what comes out, all of it or nothing."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from ladderlight.board import Board
from ladderlight.contents import darken, merge
from ladderlight.devices.files import name_files
from ladderlight.errors import BuildError, LadderlightError, PictureError, StageFailure
from ladderlight.pictures import CodedPicture, Contents, DeviceFile, Picture
from ladderlight.recipe import PictureFile, Recipe
from ladderlight.recipe.model import StageUse
from ladderlight.stages import Demand, Kind

Progress = Callable[[int, int, str], None]
"""Called with how many pictures are done, how many there are, and the source of the one just done."""


@dataclass(frozen=True, kw_only=True)
class Chain:
    """A recipe's chain at work."""

    recipe: Recipe

    @property
    def board(self) -> Board:
        """The recipe's board."""
        return self.recipe.board

    def code_pictures(self, *, workers: int | None = None, progress: Progress | None = None) -> list[CodedPicture]:
        """Run the stages up to the coded pictures over all files, on a pool of threads.

        The result does not depend on ``workers`` (default: the number of processors).

        Raises
        ------
        PictureError
            When pictures cannot be used: all of them, one line each, after all have been tried.
        """
        files = self.recipe.files
        names = _unique_names(files)
        coded: list[CodedPicture] = []
        bad: list[str] = []
        with ThreadPoolExecutor(max_workers=workers or os.cpu_count() or 1) as pool:
            futures = [pool.submit(self._code_file, file, names[file]) for file in files]
            try:
                for done, (file, future) in enumerate(zip(files, futures, strict=True), start=1):
                    try:
                        coded += future.result()
                    except PictureError as error:
                        bad.append(f"{file.source}: {error}")
                    if progress:
                        progress(done, len(files), file.source)
            except BaseException:
                pool.shutdown(cancel_futures=True)
                raise
        if bad:
            raise PictureError("\n".join(bad))
        return coded

    def _code_file(self, file: PictureFile, name: str) -> list[CodedPicture]:
        uses = [(use, self.recipe.options_for(file, at)) for at, use in enumerate(self.recipe.chain)]
        source, options = uses[0]
        frames: list[Picture] = list(self._run(source, file.path, options, file.source, demand=self._demand(uses)))
        bank = self.recipe.bank_for(file)
        coded = []
        before: tuple[Picture, CodedPicture] | None = None
        for index, frame in enumerate(frames):
            origin = replace(
                frame.origin,
                name=f"{name}#{index}" if index else name,
                source=file.source,
                frame=index,
                bank=None if bank is None else bank + index,
            )
            value: Picture | CodedPicture = replace(frame, origin=origin)
            for use, options in uses[1:]:
                if use.declaration.kind is Kind.REDUCTION:
                    assert isinstance(value, Picture)  # noqa: S101 - the chain check sees to it
                    picture = value.after(*before) if before else value
                    reduced: CodedPicture = self._run(use, picture, options, file.source)
                    before, value = (picture, reduced), reduced
                elif use.declaration.kind.per_picture:
                    value = self._run(use, value, options, file.source)
            assert isinstance(value, CodedPicture)  # noqa: S101 - the chain check and _checked see to it
            coded.append(value)
        return coded

    def _demand(self, uses: Sequence[tuple[StageUse, Mapping[str, Any]]]) -> Demand:
        """Ask the picture stages from last to first which size they want."""
        demand = Demand()
        for use, options in reversed(uses):
            declaration = use.declaration
            if declaration.kind is Kind.PICTURE:
                demand = declaration.demand(demand, self.board, options) if declaration.demand else Demand()
        return demand

    def arrange(self, coded: Sequence[CodedPicture]) -> Contents:
        """Run the arrangement stages over all coded pictures, merge what they place, and keep blanking dark."""
        uses = list(self._uses(Kind.ARRANGEMENT))
        parts = [self._run(use, coded, use.options, "the pictures") for use in uses]
        return darken(merge(parts, self.board, stages=[use.declaration.name for use in uses]), self.board)

    def emit(self, contents: Contents) -> list[DeviceFile]:
        """Run the emission stages, and put the project's name into the file names.

        Raises
        ------
        BuildError
            When two files would have one name.
        DeviceFileError
            When a name would leave the folder.
        """
        files: dict[str, tuple[StageUse, DeviceFile]] = {}
        for use in self._uses(Kind.EMISSION):
            for file in self._run(use, contents, use.options, "the contents"):
                key = file.name.casefold()
                if key in files and files[key][0] is use:
                    raise BuildError(
                        f"stage {use.declaration.name!r} would write several files to devices/{file.name}; put "
                        "{device} or {piece} into the name that it is given"
                    )
                if key in files:
                    raise BuildError(
                        f"stages {files[key][0].declaration.name!r} and {use.declaration.name!r} both want to write "
                        f"devices/{file.name}; give one of them another name pattern"
                    )
                files[key] = (use, file)
        return name_files((file for _, file in files.values()), self.recipe.name)

    def _uses(self, kind: Kind) -> Iterable[StageUse]:
        return (use for use in self.recipe.chain if use.declaration.kind is kind)

    def _run(
        self, use: StageUse, value: Any, options: Mapping[str, Any], what: str, *, demand: Demand | None = None
    ) -> Any:
        declaration = use.declaration
        label = f"stage {declaration.name!r} of plugin {declaration.plugin!r}"
        try:
            result = declaration.run(value, self.board, options, demand)
        except LadderlightError:
            raise
        except Exception as error:
            raise StageFailure(f"{label} failed on {what}: {type(error).__name__}: {error}") from error
        wrong = _wrong(declaration.kind, result, self.board)
        if wrong:
            raise StageFailure(f"{label} gave {wrong} for {what}")
        return result


def _wrong(kind: Kind, result: Any, board: Board) -> str:
    """Say what is wrong with a stage's result, or nothing: the boundary's types, shapes and ranges hold."""
    if kind in (Kind.REDUCTION, Kind.CODED):
        if not isinstance(result, CodedPicture):
            return f"a {type(result).__name__}, not a CodedPicture,"
        if result.codes.dtype != np.uint16 or result.codes.ndim != 2:
            return f"codes of {result.codes.dtype} {result.codes.shape}, not uint16 (height, width),"
        if result.codes.size and int(result.codes.max()) >= len(board.palette):
            return f"code {int(result.codes.max())}, beyond the board's {len(board.palette)} codes,"
        return ""
    if kind in (Kind.SOURCE, Kind.PICTURE):
        for picture in result if kind is Kind.SOURCE else [result]:
            if not isinstance(picture, Picture):
                return f"a {type(picture).__name__}, not a Picture,"
            pixels = picture.pixels
            if pixels.dtype != np.float32 or pixels.ndim != 3 or pixels.shape[2] != 3:
                return f"pixels of {pixels.dtype} {pixels.shape}, not float32 (height, width, 3),"
            if not pixels.size:
                return "a picture without pixels"
    if kind is Kind.ARRANGEMENT and not isinstance(result, Contents):
        return f"a {type(result).__name__}, not Contents,"
    return ""


def _unique_names(files: Sequence[PictureFile]) -> dict[PictureFile, str]:
    """Name each file by its stem; later ones of the same stem get a number."""
    names: dict[PictureFile, str] = {}
    seen: dict[str, int] = {}
    for file in files:
        stem = Path(file.source).stem
        seen[stem] = seen.get(stem, 0) + 1
        names[file] = stem if seen[stem] == 1 else f"{stem}~{seen[stem]}"
    return names
