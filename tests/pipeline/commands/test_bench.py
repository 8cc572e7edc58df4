"""``ladderlight bench``."""

from __future__ import annotations

import csv
import json

from ladderlight import commands


def test_the_sheet_needs_no_build(project, capsys) -> None:
    recipe = project("lobby", build=False)
    assert commands.main(["bench", str(recipe)]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("Bench sheet: ")
    assert "U1  picture  (2716, DIP-24, from memory)" in out
    assert err == ""
    assert commands.main(["bench", str(recipe), "--quiet"]) == 0
    assert capsys.readouterr().out == ""


def test_one_document_with_json_and_files_beside_it(project, capsys, tmp_path) -> None:
    recipe = project("lobby", build=False)
    page, folder = tmp_path / "bench.html", tmp_path / "tables"
    arguments = ["bench", str(recipe), "--json", "--page", str(page), "--csv", str(folder)]
    assert commands.main(arguments) == 0
    document = json.loads(capsys.readouterr().out)
    assert set(document) == {"ok", "wiring", "lines", "parts", "counts", "readings", "findings"}
    with (folder / "wiring.csv").open(newline="") as file:
        assert sum(row["chip"] == "U1" for row in csv.DictReader(file)) == 24
    assert page.read_text().startswith("<!DOCTYPE html>")
    assert commands.main(arguments) == 0  # over its own earlier files


def test_files_of_others_stay(project, capsys, tmp_path) -> None:
    recipe = project("lobby", build=False)
    folder = tmp_path / "tables"
    assert commands.main(["bench", str(recipe), "--csv", str(folder)]) == 0
    capsys.readouterr()
    parts = folder / "parts.csv"
    changed = parts.read_bytes().replace(b"DE-15", b"DB-15")
    parts.write_bytes(changed)
    (folder / "wiring.csv").unlink()
    assert commands.main(["bench", str(recipe), "--csv", str(folder)]) == 1
    err = capsys.readouterr().err
    assert f"{parts}: is not what bench --csv wrote there before, or was changed since; choose another name" in err
    assert parts.read_bytes() == changed
    assert not (folder / "wiring.csv").exists()


def test_a_build_has_the_sheets(project, tmp_path) -> None:
    project("lobby")
    out = tmp_path / "lobby-out"
    assert "U1  picture  (2716, DIP-24, from memory)" in (out / "bench-sheet.txt").read_text()
    assert (out / "bench-sheet.html").read_text().startswith("<!DOCTYPE html>")


def test_it_finishes_a_build_that_was_killed(project, tmp_path) -> None:
    recipe, out = project("lobby"), tmp_path / "lobby-out"
    (out / ".ladderlight" / "new").mkdir()
    (out / "manifest.json").rename(out / ".ladderlight" / "new" / "manifest.json")
    journal = {"format": 2, "aside": [], "carried": {}, "placed": ["manifest.json"]}
    (out / ".ladderlight" / "journal.json").write_text(json.dumps(journal))
    assert commands.main(["bench", "--quiet", str(recipe)]) == 0
    assert (out / "manifest.json").is_file()
    assert not (out / ".ladderlight" / "new").exists()


def test_mistakes_of_the_recipe_are_reported(project, capsys) -> None:
    recipe = project("lobby", build=False)
    recipe.write_text(recipe.read_text().replace('k = "470"', 'k = "47O"'))
    assert commands.main(["bench", str(recipe), "--json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert document["ok"] is False
    assert "k is '47O'" in document["findings"][0]["message"]


def test_a_board_that_cannot_work_still_has_its_sheet(project, capsys) -> None:
    recipe = project("lobby", build=False)
    recipe.write_text(recipe.read_text().replace('data = ["k"]', 'data = ["k"]\naccess = "1 ms"'))
    status = commands.main(["bench", str(recipe), "--json"])
    document = json.loads(capsys.readouterr().out)
    assert (status, document["ok"]) == (1, False)
    assert "too slow" in document["findings"][0]["message"]
    assert document["wiring"][0]["chip"] == "U1"
