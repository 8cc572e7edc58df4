"""A single resistor, or two in its place."""

from dataclasses import dataclass
from typing import Literal

Joined = Literal["single", "series", "parallel"]
SIGNS: dict[Joined, str] = {"single": "", "series": " + ", "parallel": " || "}
"""How the parts are written."""


@dataclass(frozen=True, kw_only=True)
class Assembly:
    """A single resistor, or two in series or in parallel in its place.

    ``parts`` in ohms; ``marks`` what is printed on them, where that is something else, such as ``680=674`` for a
    measured one.
    """

    parts: tuple[float, ...]
    joined: Joined = "single"
    marks: tuple[str, ...] = ()

    @property
    def ohms(self) -> float:
        """The resistance of all parts together."""
        if self.joined == "parallel":
            return float(self.parts[0] * self.parts[1] / (self.parts[0] + self.parts[1]))
        return float(sum(self.parts))

    def __str__(self) -> str:
        """Return the parts as in a bill of materials: ``1k5``, ``1k5 + 220`` or ``1k5 || 22k``."""
        return SIGNS[self.joined].join(self.marks or map(mark_of, self.parts))

    @property
    def written(self) -> str:
        """As a recipe writes it: the parts as they measure."""
        return SIGNS[self.joined].join(map(mark_of, self.parts))


def mark_of(ohms: float) -> str:
    """Return a resistance in the letter code of IEC 60062, whole ohms without their R: ``3k3``, ``820``, ``10R7``."""
    factor, letter = next((item for item in ((1e6, "M"), (1e3, "k")) if ohms >= item[0] * (1 - 1e-12)), (1.0, "R"))
    text = f"{ohms / factor:.6g}"
    whole, point, part = text.partition(".")
    return f"{whole}{letter}{part}" if point or letter != "R" else text
