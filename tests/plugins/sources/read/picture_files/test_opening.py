"""Opening files: trouble with paths, and libraries that write to stderr."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from ladderlight import PictureError


def message_of(read_one, path: Path) -> str:
    with pytest.raises(PictureError) as caught:
        read_one(path)
    return str(caught.value)


def test_trouble_with_paths(tmp_path, read_one, samples):
    (tmp_path / "round.png").symlink_to(tmp_path / "about.png")
    (tmp_path / "about.png").symlink_to(tmp_path / "round.png")
    assert message_of(read_one, tmp_path / "round.png").startswith("a link that leads back to itself; replace it by")
    assert message_of(read_one, tmp_path / ("long" * 70)) == "its name is too long; shorten it"
    assert message_of(read_one, tmp_path / "a\0b.png") == "a name that no file can have; check it"
    assert message_of(read_one, tmp_path / "none.png") == "no such file; check the name"
    assert message_of(read_one, tmp_path) == "a folder or a device, not a picture file; check the name"
    Image.fromarray(samples).save(tmp_path / "quay.png")
    assert message_of(read_one, tmp_path / "quay.png" / "x.png") == "no such file; check the name"


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names are Unicode there")
def test_a_name_that_is_not_utf_8_changes_nothing(tmp_path, read_one, samples):
    """Each by another reader: Pillow, Pillow with libtiff, tifffile."""
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/h\xe4fen"))
    folder.mkdir()
    Image.fromarray(samples).save(tmp_path / "quay.png")
    Image.fromarray(samples).save(tmp_path / "quay.tif", compression="tiff_lzw")
    tifffile.imwrite(tmp_path / "deep.tif", samples.astype(np.float32) / 255, photometric="rgb")
    for plain in (tmp_path / "quay.png", tmp_path / "quay.tif", tmp_path / "deep.tif"):
        odd = folder / os.fsdecode(b"\xe9" + os.fsencode(plain.name))
        odd.write_bytes(plain.read_bytes())
        assert np.array_equal(read_one(odd).pixels, read_one(plain).pixels)


def test_a_pipe_is_not_waited_for(tmp_path, read_one):
    os.mkfifo(tmp_path / "pipe.png")
    assert message_of(read_one, tmp_path / "pipe.png") == "a folder or a device, not a picture file; check the name"


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read(tmp_path, read_one, samples):
    Image.fromarray(samples).save(tmp_path / "quay.png")
    (tmp_path / "quay.png").chmod(0)
    assert message_of(read_one, tmp_path / "quay.png") == "cannot be read; check its permissions"


@pytest.mark.skipif(sys.platform == "win32", reason="Pillow for Windows has the library linked in")
def test_damaged_tiffs_leave_stderr_alone(tmp_path):
    """libtiff writes a line for each; so does the JPEG library through it."""
    samples = np.random.default_rng(3).integers(0, 256, (64, 64, 3), dtype=np.uint8)
    for name in ("zlib", "lzw", "jpeg", "lzma"):
        tifffile.imwrite(tmp_path / f"{name}.tif", samples, photometric="rgb", compression=name)
        with tifffile.TiffFile(tmp_path / f"{name}.tif") as file:
            start = file.pages[0].dataoffsets[0]
        data = bytearray((tmp_path / f"{name}.tif").read_bytes())
        data[start + 40 : start + 400] = bytes(360)
        (tmp_path / f"{name}.tif").write_bytes(data)
    program = f"""
from pathlib import Path
from ladderlight import Demand, PictureError
from ladderlight_stages.sources.read.stage import read
for path in sorted(Path({str(tmp_path)!r}).glob("*.tif")):
    try:
        list(read(path, Demand()))
        print(path.stem, "read")
    except PictureError as error:
        print(path.stem, error)
"""
    done = subprocess.run([sys.executable, "-c", program], check=True, capture_output=True, text=True)
    assert done.stderr == ""
    assert "zlib TIFF: broken or cut short; save or copy it again\n" in done.stdout
    assert done.stdout.count("broken or cut short") >= 2
