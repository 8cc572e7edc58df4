"""The built-in stages, one file each, in folders by kind; registered like anyone else's, by string reference."""

from ladderlight import hookimpl

_STAGES = {
    "sources": "read.stage",
    "cards": "border bars addresses number ramps lines codes checkers",
    "pictures": "crop resize rotate mirror tone adapt_contrast fit_gamut sharpen",
    "reductions": "diffuse.stage nearest ordered riemersma few_colours search advise",
    "arrangements": "bank_pictures lookup tiles frames planes sheet text raw",
    "emissions": "binary intel_hex s_record verilog_mem c_array assembler indexed_png",
}
"""The modules of each folder, those that are usual or most useful first. A stage is named as its module or package."""


@hookimpl
def ladderlight_default_chain() -> list[str]:
    """Return the names of the stages of a recipe that names none."""
    return ["read", "crop", "resize", "diffuse", "bank_pictures", "binary"]


@hookimpl
def ladderlight_stages() -> list[str]:
    """Return the built-in stages, in the order above."""
    return [
        f"ladderlight_stages.{folder}.{module}:{module.removesuffix('.stage')}"
        for folder, modules in _STAGES.items()
        for module in modules.split()
    ]
