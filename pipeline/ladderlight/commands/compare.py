"""``ladderlight compare``."""

from __future__ import annotations

from dataclasses import asdict, replace
from math import floor
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ladderlight.commands.terminal import options
from ladderlight.commands.terminal.arguments import recipe_and_dumps, recipe_and_others, refuse_ending
from ladderlight.commands.terminal.reporting import byte_order, print_document, print_findings, stderr, stdout
from ladderlight.errors import UsageError
from ladderlight.system.printable import printable
from ladderlight.units.words import address, counted, joined

if TYPE_CHECKING:
    from collections.abc import Iterator

    from ladderlight.readback.comparison import DeviceReport

_SHOWN = 8


def compare(
    recipe: options.FirstArgument = None,
    dumps: Annotated[
        list[str] | None,
        typer.Argument(help="Dumps of the chips, whole or in pieces: binary, Intel HEX, S-record.", metavar="DUMP"),
    ] = None,
    *,
    device: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="The device that was read; by default found by the dumps' names, sizes and contents."
        ),
    ] = None,
    revision: options.OneRevisionOption = None,
    revisions: Annotated[
        tuple[str, str] | None,
        typer.Option(metavar="A B", help="Compare two revisions of the recipe and their last builds, without dumps."),
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option(metavar="FILE.html", help="With --revisions: write a page, with the pictures side by side."),
    ] = None,
    tray: options.TrayOption = None,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE.png", help="Write a PNG of the screens with all differences marked.")
    ] = None,
    most: Annotated[
        int, typer.Option(min=0, metavar="NUMBER", help="How many differences to list one by one, for each device.")
    ] = 1000,
    big_endian: options.BigEndianOption = None,
    json_: options.JsonOption = False,
    quiet: options.QuietOption = False,
) -> None:
    """Compare chips read back with the last build, or two revisions.

    Likely faults are named where chips differ. A dump holds all of a device, or the content of one of its files.

    The exit status is 0 when everything that was read is the same, 1 when something differs, and 2 when a dump is
    damaged or cannot be identified.
    """
    from ladderlight.proof.screens import shown_banks
    from ladderlight.readback.comparison import document_of_reports, report_on, unrecorded
    from ladderlight.readback.diagnosis.known import known_contents
    from ladderlight.readback.dumps import read_dumps, readings_of
    from ladderlight.readback.matching import by_tray, match
    from ladderlight.readback.pictures import damage_png, with_device
    from ladderlight.readback.sections import sections_of
    from ladderlight.recipe import load
    from ladderlight.recipe.inputs import writer_of
    from ladderlight.workspace.last_build import last_build, stale_findings
    from ladderlight.workspace.recorded import recorded_chips

    if revisions is not None:
        if dumps or device or picture or tray or revision:
            raise UsageError("--revisions compares boards and builds, without dumps; give them without it")
        of, others = recipe_and_others(recipe, None)
        if others:
            raise UsageError(f"--revisions takes no dump; leave {others[0]} out")
        _compare_revisions(of, revisions, page, json_=json_, quiet=quiet)
        return
    if page is not None:
        raise UsageError("--page is for --revisions; --picture shows what differs in a dump")
    of, read = recipe_and_dumps(recipe, dumps)
    loaded = load(of, pictures="ignored", revision=revision)
    if picture is not None:
        write = writer_of([picture], loaded, command="compare --picture", read=read)
        refuse_ending(picture, (".png",))
    board = loaded.board
    build = last_build(loaded.output, board, loaded.owner)
    recorded = recorded_chips(loaded)
    order, reports = byte_order(big_endian), []
    sorted_ = by_tray(read_dumps(read, sections_of(board, (), order)), build, order=order, device=device, asked=tray)
    if picture is not None and len(sorted_) > 1:
        raise UsageError(
            f"the dumps are of trays {joined(list(map(str, sorted_)))}; compare --picture takes those of one"
        )
    for number, dumps_ in sorted_.items():
        last = build.tray(number)
        sections = sections_of(board, last.files, order)
        earlier = recorded.images(board, number or 1)
        found = match(dumps_, sections, wanted=last.image_arrays, earlier=earlier, device=device)
        known = known_contents(loaded, recorded.record, last.words, number)
        reports += [
            report_on(
                board, reading, found, last.words, pictures=last.pictures, most=most, known=known(reading), tray=number
            )
            for reading in readings_of(found, sections)
        ]
    held = [(chip.tray, chip.device) for chip in recorded.chips]
    findings = [*stale_findings(loaded), *recorded.findings, *unrecorded(reports, held)]
    print_findings(stderr(), findings, quiet=quiet)
    if picture is not None:
        words = last.words
        for report in reports:
            words = with_device(words, report.reading.device, report.found)
        write({picture: damage_png(board, last.words, words, shown_banks(board, last.pictures))})
    if json_:
        document = {"ok": all(report.same for report in reports)} | document_of_reports(reports)
        document |= {"findings": list(map(asdict, findings))}
        print_document(document | ({"picture": str(picture)} if picture else {}))
    else:
        lines = (line for report in reports for line in _lines(report))
        stdout(quiet=quiet).print(*lines, *filter(None, [picture]))
    if not all(report.same for report in reports):
        raise typer.Exit(1)


def _compare_revisions(recipe: Path, names: tuple[str, str], page: Path | None, *, json_: bool, quiet: bool) -> None:
    from ladderlight.recipe import load
    from ladderlight.recipe.inputs import writer_of
    from ladderlight.revisions.differences import Side, differences_of, differences_text, document_of, revisions_page
    from ladderlight.workspace.last_build import stale_findings

    first, second = (load(recipe, pictures="checked", revision=name) for name in names)
    if page is not None:
        write = writer_of([page], first, second, command="compare --page")
        refuse_ending(page, (".html", ".htm"))
    found = differences_of(Side(recipe=first), Side(recipe=second))
    stale = [
        replace(finding, where=f"{finding.where} of revision {each.revision}")
        for each in (first, second)
        for finding in stale_findings(each)
    ]
    findings = [*stale, *found.findings]
    print_findings(stderr(), findings, quiet=quiet)
    if page is not None:
        write({page: revisions_page(printable(first.name), found).encode()})
    if json_:
        document = {"ok": True, **document_of(found), "findings": list(map(asdict, findings))}
        print_document(document | ({"page": str(page)} if page else {}))
        return
    stdout(quiet=quiet).print(*differences_text(found), *filter(None, [page]))


def _lines(report: DeviceReport) -> Iterator[str]:
    reading, size, words = report.reading, report.reading.device.part.bytes, report.reading.device.part.words
    if not report.same:
        yield f"{report.place}: {report.count:,} of {report.found.size:,} words {_differ(report.count)}"
    elif reading.complete:
        yield f"{report.place} is as built: all {report.found.size:,} words are the same"
    else:
        read = f"{size - reading.unread_bytes:,} of {size:,} bytes"
        yield f"{report.place} is as built as far as it was read: {read}"
    if not reading.complete or len(report.dumps) > 1:
        for held, differing in report.dumps:
            amount = f"{differing:,} of {held.section.size:,} bytes {_differ(differing)}"
            yield f"  {held.dump.name}, {held.section.label}: {amount if differing else 'the same'}"
    for held, _ in report.dumps:
        if held.note:
            yield f"  {held.dump.name} {held.note}"
    if report.unread_text:
        yield f"  not read: {report.unread_text}"
    if report.same:
        return
    for held, _ in report.dumps:
        if held.left_out:
            yield f"  {held.dump.name} lacks {held.left_out:,} bytes, which count as erased, FFh"
    for diagnosis in report.diagnoses:
        likely = f"likely ({diagnosis.confidence * 100:.0f} %)"
        yield f"{likely}: {diagnosis.text}; explains {floor(diagnosis.explained * 1000) / 10} % of the difference"
    if not report.diagnoses and reading.mostly_left_out is not None:
        yield "most of the chip is missing, too much to find what is wrong; save all of it from the programmer"
    elif not report.diagnoses:
        yield "no usual fault and no known contents explain the difference; burn the chip again, then replace it"
    for stretch in report.ranges[:_SHOWN]:
        first, last = (address(end, words) for end in (stretch.first, stretch.last))
        yield f"{first} to {last}  {counted(stretch.count, 'word')} {_differ(stretch.count)}"
    if len(report.ranges) > _SHOWN:
        yield f"and {len(report.ranges) - _SHOWN:,} more ranges"
    for difference in report.differences[:_SHOWN]:
        both = f"expected {difference.wanted:02X}h, found {difference.found:02X}h"
        bits = f"{difference.bits:0{reading.device.part.width}b}"
        yield f"{address(difference.address, words)}  {both}, bits {bits}  {difference.where}"
    if report.count > _SHOWN:
        yield f"and {report.count - _SHOWN:,} more differences; --json lists more; --most says how many"


def _differ(count: int) -> str:
    return "differs" if count == 1 else "differ"
