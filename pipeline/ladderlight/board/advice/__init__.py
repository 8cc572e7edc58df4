"""Findings about a board before it is built, each with a remedy."""

from ladderlight.board.advice import blanking, clock, counters, memories, picture, speed, timing_lines
from ladderlight.board.advice.checks import problems_of
from ladderlight.board.ladders.findings import ladder_findings
from ladderlight.board.model.board import Board
from ladderlight.board.model.findings import Finding, ranked

_TOPICS = (
    picture.findings,
    speed.findings,
    clock.findings,
    counters.findings,
    blanking.findings,
    ladder_findings,
    memories.findings,
    timing_lines.findings,
)


def findings(board: Board) -> list[Finding]:
    """Return all findings about a board, errors first, then cautions, then notes.

    Reasons why the board is impossible come alone: nothing else can be computed then.
    """
    problems = problems_of(board)
    if problems:
        return [Finding.error(".".join(map(str, problem.where)), str(problem)) for problem in problems]
    return ranked(finding for topic in _TOPICS for finding in topic(board))
