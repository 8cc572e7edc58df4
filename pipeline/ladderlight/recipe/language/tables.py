"""The recipe as a file: every table and key, its type and its limits."""

from fractions import Fraction
from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

from ladderlight.board.model.board import BLANKING
from ladderlight.board.model.ladder import Assembly
from ladderlight.recipe.language import values
from ladderlight.stages.annotations import Described, Example
from ladderlight.stages.validation import refuse_boolean

Text = Annotated[str, StringConstraints(min_length=1)]
Part = Annotated[int, Field(ge=1, le=16384)]
ONLY_FORMAT = Described("1, the format that this version reads")
AXIS = Described("four whole numbers: active part, front porch, sync, back porch")
_BLANKING = ", ".join(f'"{name}" ({meaning})' for name, meaning in BLANKING.items())
OWN_PART = ("words", "width", "marking", "erasure", "page", "package")
"""Keys of a memory that describe a part of one's own, in place of ``part``."""
Porch = Annotated[int, Field(ge=0, le=16384)]


class Table(BaseModel):
    """A table of the recipe: frozen, strict types, no unknown keys unless it allows ``extra`` ones."""

    # Built when a recipe is read; the words below the keys are only read for the schema, see ``schemas``.
    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", defer_build=True)


class ProjectTable(Table):
    """What the project is called and where its output goes."""

    name: Text | None = None
    """Name of the project, for the proof page and the burn sheet; the recipe's file name when left out."""
    output: Text = "out"
    """Folder for everything that is built, relative to the recipe."""


class TimingsTable(Table):
    """A monitor mode by its own numbers."""

    dot_clock: Annotated[values.Frequency, Example('dot_clock = "25.175 MHz"')]
    """Frequency of the monitor's pixels."""
    horizontal: Annotated[tuple[Part, Porch, Part, Porch], AXIS, Example("horizontal = [640, 16, 96, 48]")]
    """Active part, front porch, sync and back porch of a line, in monitor pixels."""
    vertical: Annotated[tuple[Part, Porch, Part, Porch], AXIS, Example("vertical = [480, 10, 2, 33]")]
    """Active part, front porch, sync and back porch of a frame, in lines."""
    polarity: values.Polarity = Field((False, False), json_schema_extra={"default": "- -"})
    """Polarity of line and frame sync, both negative when left out."""
    aspect: values.Proportion = Field(Fraction(4, 3), json_schema_extra={"default": "4:3"})
    """Width to height of the screen, 4:3 when left out."""


class PackingTable(Table):
    """Several pixels in one word."""

    pixels: Annotated[Literal[1, 2, 4, 8, 16], BeforeValidator(refuse_boolean), Example("pixels = 8")]
    """Pixels in a word."""
    order: Literal["msb_first", "lsb_first"] = "msb_first"
    """Which end of the word is sent first."""


class MemoryTable(Table):
    """One memory as the scan sees it."""

    # Which of these keys exclude each other is checked apart, with words of its own; this is for the JSON schema.
    model_config = ConfigDict(
        json_schema_extra={
            "if": {"required": ["part"]},
            "then": {"properties": {key: {"not": {"description": "a part has its own"}} for key in OWN_PART}},
            "else": {"required": ["words", "width"]},
        }
    )

    name: Annotated[values.MemoryName, Example('name = "picture"')]
    """Name of the memory; its data pins are ``name.d0`` and so on in other memories' addresses."""
    part: values.PartNumber | None = None
    """Part number of its chips; or give ``words`` and ``width``."""
    words: values.Words | None = None
    """Words of one chip, for a part that is not in the table."""
    width: values.WordWidth | None = None
    """Bits of a word, with ``words``."""
    marking: values.Printed | None = None
    """What is printed on such a chip, for the sheets."""
    erasure: Literal["ultraviolet", "bytes", "sectors"] | None = None
    """How such a chip is erased; unknown when left out."""
    page: values.PageBytes = 1
    """Bytes of its page or sector, which are written or erased together; with ``erasure`` bytes or sectors."""
    package: values.Printed | None = None
    """Its package, for the sheets."""
    access: values.Seconds | None = None
    """Access time."""
    address: Annotated[tuple[values.AddressEntry, ...], Field(min_length=1), Example('address = ["x2-x9", "y2-y8"]')]
    """What drives the address pins, from A0 upward."""
    data: Annotated[tuple[values.DataEntry, ...], Field(min_length=1), Example('data = ["r0-r1", "g0-g1", "b0-b1"]')]
    """The line that each data pin drives, from D0 upward; ``"-"`` for a pin that drives nothing.

    ``"hsync"``, ``"vsync"``, ``"blank"``, ``"x_reset"`` and ``"y_reset"``, inverted with ``"!"``, are timing lines.
    """
    output: Literal["direct", "register"] = "direct"
    """Whether a register stands behind the data pins."""
    chips: Annotated[int, Field(ge=1, le=64)] = 1
    """Chips one after another; the uppermost address lines select the chip."""
    packing: PackingTable | None = None
    """Several pixels in a word."""
    fill: Annotated[int, Field(ge=0, le=0xFFFFFFFF)] | None = None
    """The word in places that nothing reads; all ones when left out."""


class R2RTable(Table):
    """An R-2R ladder."""

    r2r: Annotated[values.Ohms, Example('r2r = "330"')]
    """R; the rungs have twice as much."""
    rung: values.Ohms | None = None
    """Resistance of the rungs, where it is not exactly twice R: to make up for the drivers' resistance."""
    lines: Annotated[
        tuple[values.DataEntry, ...],
        Field(min_length=1),
        AfterValidator(values.ladder_lines),
        Example('lines = ["r0", "r1"]'),
    ]
    """The lines that feed it, least significant first."""


class DriverTable(Table):
    """Output resistance of what drives the ladders, for each level."""

    high: Annotated[values.DriverOhms, Example('high = "50 ohm"')]
    """While high."""
    low: Annotated[values.DriverOhms, Example('low = "30 ohm"')]
    """While low."""


Channel = Annotated[
    dict[str, Assembly] | R2RTable,
    values.channel(R2RTable),
    Described('a table of line to resistance, such as { r0 = "1k3", r1 = "680" }'),
]


class LadderTable(Table):
    """The resistors of each channel, what drives them, and the monitor's load."""

    unknown_key: ClassVar[str] = 'a line belongs in red, green, blue or grey, such as red = { r0 = "1k3", r1 = "680" }'

    supply: Annotated[values.SupplyVolts, Example('supply = "5 V"')]
    """Voltage of a high output."""
    load: values.Ohms = 75.0
    """Input resistance of one monitor input."""
    peak: values.SupplyVolts = 0.7
    """Voltage of full drive at the monitor."""
    driver: Annotated[float | DriverTable, values.either(values.DriverOhms, DriverTable)] = 0.0
    """Output resistance of the drivers, or a table with ``high`` and ``low``."""
    tolerance: values.Tolerance = 0.0
    """Tolerance of the resistors."""
    low: Literal["driven", "floating"] = "driven"
    """Whether a low output pulls to ground or floats."""
    low_volts: values.LowVolts = 0.0
    """Voltage of a low output without load; bipolar outputs stay above 0."""
    response: Literal["srgb", "tube"] = "srgb"
    """The monitor's curve from drive to light: sRGB, or that of a tube (BT.1886)."""
    tube_black: values.Glow = 0.0
    """A tube's light at no drive, as a share of its white; with ``response = "tube"``."""
    red: Channel | None = None
    """Line to resistance, or an R-2R ladder."""
    green: Channel | None = None
    """Line to resistance, or an R-2R ladder."""
    blue: Channel | None = None
    """Line to resistance, or an R-2R ladder."""
    grey: Channel | None = None
    """One channel wired to all three guns."""


class CountersTable(Table):
    """Where the counters stand at the first visible pixel, and how late they are."""

    x_start: Annotated[int, Field(ge=0, le=65535)] = 0
    """Count at the first visible pixel of a line."""
    y_start: Annotated[int, Field(ge=0, le=65535)] = 0
    """Count at the first visible line."""
    x_reset: Annotated[int, Field(ge=0, le=65535)] | None = None
    """What the reset makes of the x counter; ``x_start`` when left out: it is preset at the first visible pixel."""
    y_reset: Annotated[int, Field(ge=0, le=65535)] | None = None
    """The same of the y counter."""
    delay: values.Seconds = 0.0
    """From clock to valid address."""
    blanking_delay: Annotated[int, Field(ge=0, le=65535)] = 0
    """Counts by which sync and blanking are delayed, so that they fit a picture that output registers delay."""


class BoardTable(Table):
    """The hardware."""

    mode: Annotated[str | TimingsTable, values.either(values.ModeName, TimingsTable), Example('mode = "640x480@60"')]
    """Monitor mode by name, or a table with its timings."""
    clock: Annotated[values.Frequency, Example('clock = "25.175 MHz"')]
    """Frequency that steps the x counter."""
    blanking: Annotated[
        Literal["output-enable", "register", "gate", "none"],
        Described(f"one of {_BLANKING}"),
        Field(description=f"How the board goes dark outside the picture: {_BLANKING}."),
    ] = "none"
    memory: Annotated[
        tuple[MemoryTable, ...], Field(min_length=1), Example("[[board.memory]] with name, part, address and data")
    ]
    """The memories."""
    ladder: Annotated[LadderTable, Example("[board.ladder] with supply, red, green and blue")]
    """The resistors."""
    counters: CountersTable = CountersTable()
    """The counters."""


class CardTable(Table, extra="allow"):
    """One test card; the other keys are the card's options."""

    use: Annotated[Text, Example('use = "bars"')]
    """Name of the card."""
    bank: Annotated[int, Field(ge=0)] | None = None
    """Bank for the card; the next free one when left out."""
    tray: values.TrayNumber | None = None
    """Tray for the card; the next one with room when left out."""


CardEntry = Annotated[
    str | CardTable,
    values.either(Text, CardTable),
    Described('a card\'s name, or a table such as { use = "bars", bank = 3 }'),
]


class PicturesTable(Table):
    """Which pictures are built: files, test cards or both."""

    files: Annotated[tuple[Text, ...], Field(min_length=1), Example('files = ["pictures/*.png"]')] = ()
    """Files or globs, relative to the recipe; ``"!pattern"`` leaves out what was listed before it."""
    cards: Annotated[tuple[CardEntry, ...], Field(min_length=1), Example('cards = ["bars"]')] = ()
    """Test cards, after the files: names, or tables such as ``{ use = "bars" }`` with options, bank and tray."""
    per_tray: values.PerTray | None = None
    """Pictures in each tray, one complete set of chips: a number, or ``"banks"`` for as many as there are banks."""


class ViewingTable(Table):
    """From where the screen is looked at; the reductions measure from there what can be seen of the codes."""

    unknown_key: ClassVar[str] = "use distance or screen_width"
    distance: Annotated[values.Distance, Example('distance = "1.5 m"')]
    """From eye to screen."""
    screen_width: values.ScreenWidth = 0.3
    """Width of the visible picture."""


class StageTable(Table, extra="allow"):
    """One step of the chain; the other keys are the stage's options."""

    use: Annotated[Text, Example('use = "diffuse"')]
    """Name of the stage."""
    revision: Text | None = None
    """The one revision that the stage is for; all of them when left out."""


class PictureTable(Table, extra="allow"):
    """Overrides for some pictures; the other keys are tables of stages' options."""

    match: Annotated[Text, Example('match = "night-*.png"')]
    """Pattern for file names, or for paths relative to the recipe."""
    bank: Annotated[int, Field(ge=0)] | None = None
    """Bank for the picture."""
    tray: values.TrayNumber | None = None
    """Tray for the picture, counted from 1; the next one with room when left out."""
    revision: Text | None = None
    """The one revision that the table is for; all of them when left out."""


class RecipeTable(Table):
    """A whole recipe."""

    format: Annotated[Literal[1], BeforeValidator(refuse_boolean), ONLY_FORMAT, Example("format = 1")]
    """Version of the recipe language."""
    plugins: tuple[Text, ...] = ()
    """Python files with stages of the project's own, relative to the recipe."""
    project: ProjectTable = ProjectTable()
    """What the project is called and where its output goes."""
    board: Annotated[
        str | BoardTable, values.either(Text, BoardTable), Example('a [board] table or board = "board.toml"')
    ]
    """The board, or the file that describes it."""
    revisions: Annotated[values.Revisions, Example('revisions = { a = "board-a.toml" }')] | None = None
    """Several boards, in place of one: files that describe them, by the name of each revision."""
    pictures: PicturesTable | None = None
    """Which pictures are built."""
    viewing: ViewingTable | None = None
    """From where the screen is looked at."""
    stage: tuple[StageTable, ...] = ()
    """The chain; a chain for plain binary files when left out."""
    picture: tuple[PictureTable, ...] = ()
    """Overrides for some pictures."""
