"""Findings about a board before it is built, each with a remedy."""

from ladderlight.board.advice.blanking import blanking_findings, timing_findings
from ladderlight.board.advice.checks import problems_of
from ladderlight.board.advice.timing import clock_findings, counter_findings, speed_findings
from ladderlight.board.advice.wiring import memory_findings, proportion_findings, repeat_findings
from ladderlight.board.ladders.findings import ladder_findings
from ladderlight.board.model.board import Board
from ladderlight.errors import Finding, ranked

_TOPICS = (
    repeat_findings,
    proportion_findings,
    speed_findings,
    clock_findings,
    counter_findings,
    blanking_findings,
    ladder_findings,
    memory_findings,
    timing_findings,
)


def findings(board: Board) -> list[Finding]:
    """Return all findings about a board, the gravest first; reasons why it is impossible come alone."""
    problems = problems_of(board)
    if problems:
        return [Finding.error(".".join(map(str, problem.where)), str(problem)) for problem in problems]
    return ranked([finding for topic in _TOPICS for finding in topic(board)])
