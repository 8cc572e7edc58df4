"""The bench sheet as a page to print, and the files that a build has of it."""

from collections.abc import Iterator
from typing import Any

from markupsafe import Markup

from ladderlight.bench.readings import steps_of
from ladderlight.bench.sheets.advice import AT_PARTS, AT_WIRING, decoding, named
from ladderlight.bench.sheets.document import Bench
from ladderlight.bench.sheets.text import bench_sheet
from ladderlight.proof.templating import fill
from ladderlight.units.words import frequency, in_words


def bench_files(project: str, bench: Bench) -> Iterator[tuple[str, bytes]]:
    """Yield ``bench-sheet.txt`` and ``bench-sheet.html``, by their names."""
    yield "bench-sheet.txt", bench_sheet(project, bench).encode()
    yield "bench-sheet.html", bench_page(project, bench).encode()


def bench_page(project: str, bench: Bench) -> str:
    """Return the bench sheet as one HTML document that loads nothing."""
    return _filled("bench-sheet.html", bench, project=project, findings=bench.findings, cautions=bench.cautions)


def bench_parts(bench: Bench) -> Markup:
    """Return the tables of the bench sheet, to be shown in another page below a heading of the second level."""
    return Markup(_filled("bench-parts.html", bench, level=3))  # noqa: S704 - escaped there


def _filled(template: str, bench: Bench, **values: Any) -> str:
    return fill(
        template,
        package="ladderlight.bench.sheets",
        bench=bench,
        steps=list(steps_of(bench.readings)),
        at_parts=AT_PARTS,
        at_wiring=AT_WIRING,
        decoding=decoding,
        named=named,
        frequency=frequency,
        in_words=in_words,
        **values,
    )
