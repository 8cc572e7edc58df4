from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from ladderlight.recipe import Recipe

Reader = Callable[[str], Recipe]
Complaints = Callable[[str], list[str]]
Spoil = Callable[..., str]


@pytest.mark.parametrize(
    ("source", "message"),
    [
        (
            "import nothing_of_the_kind\n",
            "line 1, cannot be loaded: ModuleNotFoundError: No module named 'nothing_of_the_kind'; correct it there",
        ),
        (
            "x = 1\n\nfrom ladderlight import Pictures\n",
            "line 3, cannot be loaded: ImportError: cannot import name 'Pictures' from 'ladderlight'",
        ),
        ("def broken(:\n", "line 1, cannot be loaded: SyntaxError: invalid syntax; correct it there"),
        ("x = 1\n", "declares no stage; mark a function with @stage(help=...)"),
    ],
)
def test_a_plugin_that_cannot_be_used(
    complaints: Complaints, text: str, project: Path, source: str, message: str
) -> None:
    (project / "lantern.py").write_text(source, encoding="utf-8")
    first = complaints(text)[0]
    assert first.startswith(
        f"recipe.toml:2:12: plugin 'lantern.py'{', ' if message.startswith('line') else ' '}{message}"
    )


def test_a_stage_with_a_bad_signature(complaints: Complaints, text: str, project: Path) -> None:
    plugin = project / "lantern.py"
    plugin.write_text(
        plugin.read_text(encoding="utf-8").replace(
            "(picture: Picture) -> CodedPicture", "(picture: int) -> CodedPicture"
        ),
        encoding="utf-8",
    )
    (line,) = complaints(text)
    assert line.startswith(
        "recipe.toml:34:7: stage 'flatten' of plugin 'lantern.py': its parameters and result are of no known kind;"
        " give one of Path -> "
    )


def test_a_plugin_named_twice(complaints: Complaints, spoil: Spoil) -> None:
    assert complaints(spoil(('["lantern.py"]', '["lantern.py", "lantern.py"]'))) == [
        "recipe.toml:2:26: plugin 'lantern.py' is named twice; name it once"
    ]


def test_two_plugins_with_a_stage_of_one_name(complaints: Complaints, spoil: Spoil, project: Path) -> None:
    code = (project / "lantern.py").read_text(encoding="utf-8")
    (project / "lamp.py").write_text(code.replace("def flatten", "def level").replace("def dump", "def unload"))
    both = ('["lantern.py"]', '["lantern.py", "lamp.py"]')
    assert complaints(spoil(both)) == [
        "recipe.toml:30:7: stage 'glow' is in more than one plugin: 'lantern.py' and 'lamp.py'; "
        'write use = "lantern.glow" or use = "lamp.glow"',
        "recipe.toml:37:7: stage 'stack' is in more than one plugin: 'lantern.py' and 'lamp.py'; "
        'write use = "lantern.stack" or use = "lamp.stack"',
    ]


def test_a_plugin_can_be_named_with_the_stage(read: Reader, spoil: Spoil, project: Path) -> None:
    """The override finds the stage by its name alone, or by both in quotes."""
    code = (project / "lantern.py").read_text(encoding="utf-8")
    (project / "lamp.py").write_text(code.replace("= 1.0", "= 0.75"), encoding="utf-8")
    changes = [('["lantern.py"]', '["lantern.py", "lamp.py"]'), ('use = "glow"', 'use = "lamp.glow"')]
    changes += [(f'use = "{name}"', f'use = "lantern.{name}"') for name in ("flatten", "stack", "dump")]
    recipe = read(spoil(*changes))
    assert [use.declaration.qualified for use in recipe.chain[1:3]] == ["lamp.glow", "lantern.flatten"]
    assert recipe.options_for(recipe.files[0], 1)["strength"] == 0.75
    assert recipe.options_for(recipe.files[3], 1)["strength"] == 0.5
    quoted = read(spoil(*changes, ("glow = {", '"lamp.glow" = {')))
    assert quoted.options_for(quoted.files[3], 1)["strength"] == 0.5
    assert recipe.cautions == ()


def test_an_override_of_a_stage_that_the_chain_has_from_two_plugins(
    complaints: Complaints, spoil: Spoil, project: Path
) -> None:
    (project / "lamp.py").write_bytes((project / "lantern.py").read_bytes())
    changes = [('["lantern.py"]', '["lantern.py", "lamp.py"]')]
    changes += [(f'use = "{name}"', f'use = "lantern.{name}"') for name in ("flatten", "stack", "dump")]
    changes += [('use = "glow"', 'use = "lantern.glow"\n\n[[stage]]\nuse = "lamp.glow"')]
    assert complaints(spoil(*changes)) == [
        'recipe.toml:47:1: the chain has 2 stages \'glow\'; write "lantern.glow" or "lamp.glow" as the key'
    ]
    assert complaints(spoil(*changes, ("glow = { strength = 0.5", '"lamp.glow" = { strength = 5'))) == [
        "recipe.toml:47:28: stage 'glow': strength is 5, which is out of range; use a number from 0 to 1"
    ]


def test_a_misspelt_plugin_of_a_stage(complaints: Complaints, spoil: Spoil) -> None:
    assert complaints(spoil(('use = "glow"', 'use = "lantern.glov"'))) == [
        "recipe.toml:30:7: no stage is called 'lantern.glov'; did you mean 'lantern.glow'?"
    ]


def test_an_override_reaches_each_use_of_its_stage(read: Reader, spoil: Spoil) -> None:
    recipe = read(
        spoil(('[[stage]]\nuse = "flatten"', '[[stage]]\nuse = "glow"\nstrength = 0.9\n\n[[stage]]\nuse = "flatten"'))
    )
    night = recipe.files[3]
    assert [recipe.options_for(night, index) for index in (1, 2)] == [
        {"tint": "warm", "strength": 0.5, "flicker": 0.0},
        {"tint": "cold", "strength": 0.5, "flicker": 0.0},
    ]


def test_an_error_of_the_stage_is_not_told_again_for_its_override(complaints: Complaints, spoil: Spoil) -> None:
    assert complaints(spoil(('"warm"', '"worm"'))) == [
        "recipe.toml:31:8: stage 'glow': tint is 'worm', which is not known; did you mean 'warm'?"
    ]


def test_a_missing_option_may_not_be_left_to_overrides(complaints: Complaints, text: str, project: Path) -> None:
    plugin = project / "lantern.py"
    plugin.write_text(
        plugin.read_text(encoding="utf-8").replace(
            '"how much", minimum=0, maximum=1)] = 1.0', '"how much", minimum=0, maximum=1)]'
        ),
        encoding="utf-8",
    )
    assert complaints(text) == [
        "recipe.toml:29:1: stage 'glow' lacks the option 'strength'; add it: a number from 0 to 1"
    ]


def test_a_stage_without_a_name(complaints: Complaints, spoil: Spoil) -> None:
    assert complaints(spoil(('use = "flatten"', "use = 3"))) == [
        'recipe.toml:34:7: use is the number 3; put it in quotes: "3"'
    ]


def test_overrides_are_checked_beside_an_unknown_stage(complaints: Complaints, spoil: Spoil) -> None:
    assert complaints(spoil(('use = "flatten"', 'use = "flaten"'), ("0.5", "true"))) == [
        "recipe.toml:34:7: no stage is called 'flaten'; did you mean 'flatten'?",
        "recipe.toml:44:21: stage 'glow': strength is true, not a number; use a number from 0 to 1",
    ]
