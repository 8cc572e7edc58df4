"""A cluster gives what threads give, whatever happens to its workers."""

from __future__ import annotations

import shutil
import subprocess
import threading
import time
from contextlib import nullcontext
from pathlib import Path

import numpy as np
import pytest

from ladderlight import commands
from ladderlight.cache.store import Cache
from ladderlight.engine.executors import cluster as module
from ladderlight.engine.executors import worker
from ladderlight.engine.executors.cluster import on_cluster
from ladderlight.engine.runner import Chain
from ladderlight.errors import BuildError, PictureError
from ladderlight.recipe.inputs import input_files, seen_inputs
from ladderlight.recipe.watching import forget_modules

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")


def codes(recipe, **more) -> list[np.ndarray]:
    found = Chain(recipe=recipe, cache=Cache.of_user(), seen=seen_inputs(input_files(recipe), {})).code_pictures(**more)
    views = found.views()
    assert len(views) == len(found) == len({view.data for view in views.values()})
    return [*(picture.codes for picture in found), *(np.frombuffer(view.data, np.uint8) for view in views.values())]


def entries(folder: Path) -> int:
    return sum(1 for path in folder.rglob("*") if path.is_file())


def test_workers_with_caches_of_their_own_give_what_threads_give_and_one_that_is_killed_is_survived(
    project, cluster, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # As if they were on other machines: they do not find the cache of the build.
    monkeypatch.setattr(module, "Home", lambda **home: worker.Home(**home | {"folder": str(own_cache / "elsewhere")}))
    recipe = project.load()
    running = cluster()
    one, _ = running.add_worker("one"), running.add_worker("other")
    with on_cluster(running.address) as executor:
        executor._client.wait_for_workers(2, timeout=120)
        killed = threading.Event()

        def kill(done: int, total: int, source: str) -> None:
            if not killed.is_set():
                killed.set()
                one.kill()

        found = codes(recipe, executor=executor, progress=kill)
        assert killed.is_set()
        assert entries(running.folder / "cache-other") > 3

        # Another job whose module beside the plugin has the same name; files that the worker does not find.
        shutil.rmtree(own_cache)
        project.write_plugin(gain=0.5)
        changed = project.load()
        hidden = project.folder.with_name("hidden")
        hidden.mkdir()
        seen = seen_inputs(input_files(changed), {})
        read = module.read_regular
        for file in changed.files:
            file.path.rename(hidden / file.path.name)
        monkeypatch.setattr(module, "read_regular", lambda path: read(hidden / path.name))
        sent = Chain(recipe=changed, cache=Cache.of_user(), seen=seen).code_pictures(executor=executor)
        sent_codes = [picture.codes for picture in sent]
        for file in changed.files:
            (hidden / file.path.name).rename(file.path)
    shutil.rmtree(own_cache)
    assert all(map(np.array_equal, sent_codes, codes(changed)))
    project.write_plugin()
    forget_modules([project.folder / "breakwater_curve.py"])
    before = codes(project.load())
    assert all(map(np.array_equal, found, before))
    assert not all(map(np.array_equal, sent_codes, before))
    assert len(before) == len(found) == 2 * len(sent_codes) == 16, "codes and a view of each"


def test_a_picture_that_ends_all_workers_is_named(project, cluster, monkeypatch: pytest.MonkeyPatch) -> None:
    project.add_reef()
    running = cluster()
    running.add_worker("one")
    running.add_worker("other")
    with on_cluster(running.address) as executor, pytest.raises(BuildError) as error:
        executor._client.wait_for_workers(2, timeout=120)
        monkeypatch.setattr(module, "_PATIENCE", 1.0)
        codes(project.load(), executor=executor)
    assert error.value.faults[0].message == "no workers are left; start some, then build again"
    assert "reef.png" in [fault.where for fault in error.value.faults[1:]]
    assert "was at work when 2 workers ended" in error.value.faults[1].message


def test_a_picture_that_ends_workers_that_come_again_is_named_and_the_others_are_coded(project, monkeypatch) -> None:
    monkeypatch.setattr(module, "_PATIENCE", 120.0)  # a busy machine is slow to start a worker again
    project.add_reef()
    shown: list[str] = []
    recipe = project.load()
    with on_cluster("local", 1) as executor, pytest.raises(PictureError) as error:
        codes(recipe, executor=executor, progress=lambda done, total, source: shown.append(source))
    assert [fault.where for fault in error.value.faults] == ["reef.png"]
    assert set(shown) == {file.source for file in recipe.files}


def test_a_worker_of_other_versions_is_refused_with_both_named(project, cluster, tmp_path: Path) -> None:
    (tmp_path / "old" / "ladderlight").mkdir(parents=True)
    (tmp_path / "old" / "ladderlight" / "__init__.py").write_text('__version__ = "0.0.7"\n')
    (tmp_path / "old" / "sitecustomize.py").write_text('import numba; numba.__version__ = "0.59.1"\n')
    running = cluster()
    running.add_worker("old", PYTHONPATH=str(tmp_path / "old"))
    with pytest.raises(BuildError) as error, on_cluster(running.address):
        pass
    (fault,) = error.value.faults
    assert fault.where.startswith("worker tcp://127.0.0.1:")
    import numba

    import ladderlight

    assert fault.message == (
        f"has ladderlight 0.0.7, here {ladderlight.__version__} and numba 0.59.1, here {numba.__version__}; "
        "install the same versions there"
    )


def test_a_scheduler_that_is_not_there_is_one_line(project, capsys, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_ANSWER", 1.0)
    for address in ("tcp://127.0.0.1:9", "127.0.0.1:9", "nonsense://x"):
        assert commands.main(["build", "--cluster", address, str(project.folder / "recipe.toml")]) == 1
        assert capsys.readouterr().err == (
            f"--cluster {address}: no scheduler answers there; start one with: dask scheduler, or use --cluster local\n"
        )
    assert not (project.folder / "out").exists()


@pytest.mark.parametrize("end", [subprocess.Popen.kill, subprocess.Popen.terminate])
def test_a_scheduler_that_goes_away_in_the_middle_is_one_line(project, cluster, capsys, monkeypatch, end) -> None:
    running = cluster()
    running.add_worker("one")
    taken, ended = module._Round._taken, list[float]()

    def end_scheduler(*values: object) -> object:
        if not ended:
            end(running.scheduler)
            ended.append(time.monotonic())
        return taken(*values)

    monkeypatch.setattr(module._Round, "_taken", end_scheduler)
    assert commands.main(["build", "-q", "--cluster", running.address, str(project.folder / "recipe.toml")]) == 1
    assert time.monotonic() - ended[0] < 15
    assert capsys.readouterr().err == (
        "--cluster: the scheduler was lost and nothing was replaced; start it and its workers again, then build again "
        "(finished pictures are in the cache)\n"
    )
    assert not any((project.folder / "out").glob("*"))


def test_ctrl_c_while_a_local_cluster_ends_leaves_it_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    class Local:
        scheduler_address = ""

        def __enter__(self) -> None: ...

        def __exit__(self, *_: object) -> None:
            raise KeyboardInterrupt

    local, done = Local(), []
    monkeypatch.setattr(module, "local_cluster", lambda *_: local)
    monkeypatch.setattr(module, "_client", lambda _: nullcontext())
    monkeypatch.setattr(module, "leave_behind", lambda: done.append("behind"))
    monkeypatch.setattr(module, "kill", done.append)
    with pytest.raises(KeyboardInterrupt), on_cluster("local", 1):
        pass
    assert done == ["behind", local]


def test_a_cluster_and_processes_exclude_each_other(project, capsys) -> None:
    assert commands.main(["build", "--processes", "--cluster", "local", str(project.folder / "recipe.toml")]) == 2
    assert "exclude each other" in capsys.readouterr().err
