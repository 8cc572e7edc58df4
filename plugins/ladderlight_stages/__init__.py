"""The built-in stages, one file each, in folders by kind; registered like anyone else's, by string reference."""

from ladderlight import hookimpl


@hookimpl
def ladderlight_default_chain() -> list[str]:
    """Return the names of the stages of a recipe that names none."""
    return ["read", "crop", "resize", "diffuse", "bank_pictures", "binary"]


@hookimpl
def ladderlight_stages() -> list[str]:
    """Return the built-in stages, those that are usual or most useful first among their kind."""
    package = "ladderlight_stages"
    return [
        f"{package}.sources.read.stage:read",
        f"{package}.cards.border:border",
        f"{package}.cards.bars:bars",
        f"{package}.cards.addresses:addresses",
        f"{package}.cards.number:number",
        f"{package}.cards.ramps:ramps",
        f"{package}.cards.lines:lines",
        f"{package}.cards.codes:codes",
        f"{package}.cards.checkers:checkers",
        f"{package}.pictures.crop.stage:crop",
        f"{package}.pictures.resize:resize",
        f"{package}.pictures.rotate:rotate",
        f"{package}.pictures.mirror:mirror",
        f"{package}.pictures.tone:tone",
        f"{package}.pictures.adapt_contrast:adapt_contrast",
        f"{package}.pictures.fit_gamut:fit_gamut",
        f"{package}.pictures.sharpen:sharpen",
        f"{package}.reductions.diffuse.stage:diffuse",
        f"{package}.reductions.nearest:nearest",
        f"{package}.reductions.ordered.stage:ordered",
        f"{package}.reductions.riemersma:riemersma",
        f"{package}.reductions.few_colours.stage:few_colours",
        f"{package}.reductions.search:search",
        f"{package}.reductions.advise:advise",
        f"{package}.arrangements.bank_pictures:bank_pictures",
        f"{package}.arrangements.lookup:lookup",
        f"{package}.arrangements.tiles:tiles",
        f"{package}.arrangements.frames.stage:frames",
        f"{package}.arrangements.planes:planes",
        f"{package}.arrangements.sheet:sheet",
        f"{package}.arrangements.text:text",
        f"{package}.arrangements.raw:raw",
        f"{package}.emissions.binary:binary",
        f"{package}.emissions.intel_hex:intel_hex",
        f"{package}.emissions.s_record:s_record",
        f"{package}.emissions.verilog_mem:verilog_mem",
        f"{package}.emissions.c_array:c_array",
        f"{package}.emissions.assembler:assembler",
        f"{package}.emissions.indexed_png:indexed_png",
    ]
