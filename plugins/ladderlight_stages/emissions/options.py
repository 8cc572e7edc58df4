"""Options that emission stages have in common."""

from __future__ import annotations

from typing import Annotated, Literal

from ladderlight import Option

NamePattern = Annotated[str, Option("file name", fields=("device", "memory", "part", "piece", "project"))]
Order = Annotated[Literal["little", "big"], Option("byte order of words wider than 8 bits")]
Split = Annotated[
    Literal["none", "even_odd"], Option("whether even and odd bytes of wider words go into files of their own")
]
Size = Annotated[
    int | None, Option("most bytes in one file, for programmers that take no more at once; all if not given", minimum=1)
]
Offset = Annotated[int, Option("address of a file's first byte", minimum=0)]
LeaveOutFill = Annotated[bool, Option("leave out records that hold only FFh, which an erased chip holds already")]
