"""The two streams of a command.

Writing to them never raises; a failure is kept and reported at the end. Nothing but reports may reach stdout, and
stages of plugins may print: ``sys.stdout`` is stderr for as long as a command runs. What is not written in Python
writes to file 1 itself: for a command with ``--json`` that is stderr's file too, until the report comes.
"""

import errno
import io
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, redirect_stdout, suppress
from functools import wraps
from typing import ParamSpec, TextIO, TypeVar

P = ParamSpec("P")
R = TypeVar("R")

_kept: list[TextIO] = []
_diverted = ExitStack()  # ends the diversion of file 1


def report_stream() -> TextIO:
    """Return the stream for reports: the stdout that the running command was started with."""
    _diverted.close()
    return _kept[-1] if _kept else sys.stdout


def keeps_stdout(command: Callable[P, R]) -> Callable[P, R]:
    """Return a command that keeps stdout for its reports."""

    @wraps(command)
    def run(*arguments: P.args, **options: P.kwargs) -> R:
        _kept.append(sys.stdout)
        try:
            with redirect_stdout(sys.stderr), _diverted:
                if options.get("json_"):
                    _kept[-1].flush()
                    _diverted.enter_context(_file_1_to_stderr())
                return command(*arguments, **options)
        finally:
            _kept.pop()

    return run


@contextmanager
def _file_1_to_stderr() -> Iterator[None]:
    """Have whatever writes to file 1 write to stderr, or to nowhere where stderr is closed."""
    with ExitStack() as stack:
        with suppress(OSError):  # file 1 is closed: there is nothing to keep
            os.fstat(1)
            try:
                os.fstat(2)
                other = 2
            except OSError:
                other = os.open(os.devnull, os.O_WRONLY)
                stack.callback(os.close, other)
            kept = os.dup(1)
            stack.callback(os.close, kept)
            os.dup2(other, 1)
            stack.callback(os.dup2, kept, 1)
            stack.callback(_flush_c)
        yield


def flush_all() -> None:
    """Write all that waits, also what programs in C have printed if any may have."""
    for stream in (sys.stdout, sys.stderr):
        Stream(stream).flush()
    if "ctypes" in sys.modules:  # which all load that compute
        _flush_c()


def _flush_c() -> None:
    """Write what programs in C have printed, which waits in a buffer of theirs when stdout is not a terminal."""
    with suppress(OSError, TypeError, AttributeError, ImportError):  # a system without one C library for all
        import ctypes

        ctypes.CDLL(None).fflush(None)


class Stream(io.TextIOBase):
    """A stream that takes every text: unknown letters become escapes, and after a failure text is dropped.

    It goes nowhere when the process was started with the stream closed, which is None then.
    """

    def __init__(self, stream: TextIO | None) -> None:
        self._stream = stream
        self.failure: OSError | None = None

    @property
    def encoding(self) -> str:  # type: ignore[override]
        """Encoding of the stream below."""
        return getattr(self._stream, "encoding", None) or "utf-8"

    @property
    def broken(self) -> bool:
        """Whether the reader of a pipe has gone, which is not an error."""
        return self.failure is not None and self.failure.errno == errno.EPIPE

    def writable(self) -> bool:
        """Return that the stream can be written."""
        return True

    def isatty(self) -> bool:
        """Whether a terminal is below."""
        return self._stream is not None and not self._stream.closed and self._stream.isatty()

    def fileno(self) -> int:
        """Return the number of the file below."""
        if self._stream is None:
            raise io.UnsupportedOperation("the stream is closed")
        return self._stream.fileno()

    def write(self, text: str) -> int:
        """Write a text, or drop it."""
        if self._stream is not None and self.failure is None:
            try:
                try:
                    self._stream.write(text)
                except UnicodeEncodeError:
                    coded = text.encode(self.encoding, "backslashreplace")
                    self._stream.write(coded.decode(self.encoding))
            except (OSError, ValueError) as error:  # ValueError: closed by someone
                self._give_up(error)
        return len(text)

    def flush(self) -> None:
        """Write what is buffered."""
        if self._stream is not None and self.failure is None:
            try:
                self._stream.flush()
            except (OSError, ValueError) as error:
                self._give_up(error)

    def _give_up(self, error: OSError | ValueError) -> None:
        self.failure = error if isinstance(error, OSError) else OSError(errno.EBADF, os.strerror(errno.EBADF))
        # What is still buffered would be tried again when Python ends, with a traceback and a status of its own.
        with suppress(OSError, ValueError, AttributeError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self._stream.fileno())  # type: ignore[union-attr]
            os.close(nowhere)


@contextmanager
def safe_streams() -> Iterator[tuple[Stream, Stream]]:
    """Keep stdout and stderr from raising during a command, and yield the two."""
    before = sys.stdout, sys.stderr
    out, err = Stream(sys.stdout), Stream(sys.stderr)
    sys.stdout, sys.stderr = out, err
    try:
        yield out, err
    finally:
        out.flush()
        err.flush()
        sys.stdout, sys.stderr = before
