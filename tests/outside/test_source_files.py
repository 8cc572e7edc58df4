"""Memory files and source files against the programs that they are for: a simulator, a compiler, an assembler."""

from __future__ import annotations

import subprocess

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ladderlight import Contents, MemoryContents
from ladderlight.board import Part
from ladderlight_stages.emissions.assembler import assembler
from ladderlight_stages.emissions.c_array import c_array
from ladderlight_stages.emissions.verilog_mem import verilog_mem

SOME = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
WIDTHS = st.sampled_from([4, 8, 9, 16, 24, 32])
SEEDS = st.integers(0, 2**32 - 1)
LENGTHS = st.integers(1, 900)


@pytest.fixture
def device(make_board, memory):
    """A board with one device of random words, its contents, and the words."""

    def make(length, width, seed):
        part = Part(number="spare", words=length, width=width)
        board = make_board(memory(address=[], data=["b0-b1", "g0-g1", "r0-r1"], part=part), check=False)
        words = np.random.default_rng(seed).integers(0, 1 << width, length, dtype=np.uint32)
        return Contents(memories={"picture": MemoryContents(words=words, written=words)}), board, words

    return make


@given(length=LENGTHS, width=WIDTHS, seed=SEEDS, offset=st.integers(0, 100))
@SOME
def test_iverilog_reads_our_memory_files(device, program, tmp_path, length, width, seed, offset):
    iverilog, vvp = program("iverilog"), program("vvp")
    contents, board, words = device(length, width, seed)
    (file,) = verilog_mem(contents, board, offset=offset)
    (tmp_path / "a.mem").write_bytes(file.data)
    last = offset + length - 1
    (tmp_path / "a.v").write_text(
        f"""module top; reg [{width - 1}:0] memory [0:{last}]; integer i;
        initial begin $readmemh("{tmp_path}/a.mem", memory, {offset}, {last});
        for (i = {offset}; i <= {last}; i = i + 1) $display("%h", memory[i]); end endmodule"""
    )
    subprocess.run([iverilog, "-o", tmp_path / "a.out", tmp_path / "a.v"], check=True)
    shown = subprocess.run([vvp, "-n", tmp_path / "a.out"], check=True, capture_output=True, text=True).stdout
    assert [int(line, 16) for line in shown.split()] == words.tolist()


@given(length=LENGTHS, width=WIDTHS, seed=SEEDS)
@SOME
def test_gcc_compiles_our_arrays_to_the_same_words(device, program, tmp_path, length, width, seed):
    gcc, objcopy = program("gcc"), program("objcopy")
    contents, board, words = device(length, width, seed)
    (file,) = c_array(contents, board)
    (tmp_path / "a.c").write_bytes(file.data)
    strict = ["-std=c99", "-pedantic-errors", "-Wall", "-Wextra", "-Werror", "-c"]
    subprocess.run([gcc, *strict, tmp_path / "a.c", "-o", tmp_path / "a.o"], check=True)
    subprocess.run([objcopy, "-O", "binary", "-j", ".rodata", tmp_path / "a.o", tmp_path / "a.bin"], check=True)
    bits = 8 if width <= 8 else 16 if width <= 16 else 32
    assert np.fromfile(tmp_path / "a.bin", dtype=f"u{bits // 8}").tolist() == words.tolist()


@given(length=LENGTHS, seed=SEEDS, per_line=st.integers(1, 64), directive=st.sampled_from([".byte", ".dc.b"]))
@SOME
def test_the_gnu_assembler_places_our_bytes(device, program, tmp_path, length, seed, per_line, directive):
    assemble, objcopy = program("as"), program("objcopy")
    contents, board, words = device(length, 16, seed)
    (file,) = assembler(contents, board, per_line=per_line, directive=directive, label="{device}", order="big")
    (tmp_path / "a.s").write_bytes(file.data)
    subprocess.run([assemble, tmp_path / "a.s", "-o", tmp_path / "a.o"], check=True)
    subprocess.run([objcopy, "-O", "binary", "-j", ".text", tmp_path / "a.o", tmp_path / "a.bin"], check=True)
    assert np.fromfile(tmp_path / "a.bin", dtype=">u2").tolist() == words.tolist()
