"""Templates and their compiled code."""

from __future__ import annotations

from pathlib import Path

import jinja2
import pytest

from ladderlight.cache.folder import VARIABLE
from ladderlight.proof.templating import environment


def test_compiled_templates_are_kept_and_of_a_damaged_one_nothing_is_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, str(tmp_path))
    compiled = []
    plain = jinja2.Environment._generate
    monkeypatch.setattr(jinja2.Environment, "_generate", lambda *a, **k: compiled.append(a[2]) or plain(*a, **k))

    def load() -> jinja2.Template:
        environment.cache_clear()
        return environment().get_template("trays.html")

    load()
    assert compiled == ["trays.html"]
    load()
    assert compiled == ["trays.html"]
    for entry in tmp_path.rglob("*"):
        if entry.is_file():
            entry.write_bytes(entry.read_bytes()[:-9])
    load()
    assert compiled == ["trays.html", "trays.html"]
    environment.cache_clear()
