"""For tests of stages: a small board, pictures and device contents for it, and the call as the engine makes it.

```python
from ladderlight.testing import grey_ramp, run_stage, small_board

def test_black_is_lifted():
    lifted = run_stage(lift_shadows, grey_ramp(), amount=0.2)
    assert lifted.pixels.min() == pytest.approx(0.2)
```
"""

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import MODES, PARTS, Board, Channel, Ladder, Memory, Raster
from ladderlight.board.model.lines import expand, expand_names
from ladderlight.colour.viewing import Viewing
from ladderlight.errors import Fault, RecipeError, StageFailure
from ladderlight.flow.pictures import Origin, Picture
from ladderlight.stages.boundary import HooksOf, open_file
from ladderlight.stages.boundary import run_stage as run_declared
from ladderlight.stages.contract import Demand, Kept, Survey
from ladderlight.stages.declaration import declaration_of
from ladderlight.stages.kinds import Kind

__all__ = ["RecipeError", "StageFailure", "grey_ramp", "picture_of", "run_stage", "small_board"]

_WHAT = "the test's value"
_CARD = Origin(name="card", source="card", bank=0)


def small_board() -> Board:
    """Return a board of 20 by 15 pixels in 64 colours, with two banks in one 27C512."""
    guns = {
        gun: Channel(name=gun, resistors={f"{gun[0]}0": 1330.0, f"{gun[0]}1": 715.0}, guns=(index,))
        for index, gun in enumerate(("red", "green", "blue"))
    }
    return Board(
        raster=Raster(mode=MODES["640x480@60"], clock=Fraction("25175000")),
        memories=(
            Memory(
                name="picture",
                part=PARTS["27C512"],
                address=tuple(pin for entry in ("x5-x9", "y5-y8", "bank0") for pin in expand(entry)),
                data=tuple(pin for entry in ("b0-b1", "g0-g1", "r0-r1") for pin in expand_names(entry)),
            ),
        ),
        ladder=Ladder(supply=5.0, channels=tuple(guns.values())),
    )


def picture_of(pixels: NDArray[np.floating[Any]], *, name: str = "mole") -> Picture:
    """Return a picture of these pixels, (height, width, 3), linear light from 0 to 1."""
    return Picture(origin=Origin(name=name, source=f"{name}.png"), pixels=np.asarray(pixels, dtype=np.float32))


def grey_ramp(width: int = 20, height: int = 15) -> Picture:
    """Return a picture from black at its left to white at its right; by default of the small board's size."""
    light = np.linspace(0, 1, width, dtype=np.float32)
    return picture_of(np.broadcast_to(light[None, :, None], (height, width, 3)), name="ramp")


def run_stage(
    function: Callable[..., Any],
    value: Any,
    board: Board | None = None,
    *,
    viewing: Viewing | None = None,
    demand: Demand | None = None,
    survey: Survey | None = None,
    kept: Kept | None = None,
    origin: Origin | None = None,
    **options: Any,
) -> Any:
    """Run a stage as the engine does: options checked as a recipe's are, hooks asked, the result checked.

    ``function`` is marked with ``@stage``. ``value`` flows in: a path, a picture, a coded picture, a list of these, or
    contents; None for a card. ``options`` are as a recipe writes them, units included, and ``board`` is that of
    :func:`small_board` when not given. ``viewing``, ``demand``, ``survey``, ``kept`` and ``origin`` are for a stage
    whose signature names them; without ``survey``, a stage that has one looks at ``value`` alone.

    Returns what the stage returns; of a source, and of an emission, a list. Raises RecipeError when options are wrong
    or the stage's rule finds a problem, StageFailure when the stage or a hook of it fails or breaks the contract, and
    any LadderlightError as the stage raises it.
    """
    board = board or small_board()
    declaration = declaration_of(function, plugin="test")
    values, problems = declaration.check(options)
    hooks = HooksOf(declaration, board, values, viewing)
    problems = problems or hooks.problems()
    if problems:
        raise RecipeError.of([Fault(where=declaration.name, message=str(problem)) for problem in problems])
    values = declaration.complete(values)
    if declaration.kind is Kind.CARD:
        return run_declared(declaration, board, board, values, _WHAT, viewing=viewing, origin=origin or _CARD)
    if declaration.kind is Kind.SOURCE:
        return list(open_file(declaration, Path(value), board, values, _WHAT, viewing=viewing, demand=demand))
    if survey is None:
        look = hooks.look(_WHAT)
        survey = Survey(total=look(value)) if look else None
    return run_declared(declaration, value, board, values, _WHAT, viewing=viewing, survey=survey, kept=kept)
