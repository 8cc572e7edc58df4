"""The two streams of a command. Writing to them never raises; a failure is kept and reported at the end."""

from __future__ import annotations

import errno
import io
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TextIO


class Stream(io.TextIOBase):
    """A stream that takes every text: unknown letters become escapes, and after a failure text is dropped.

    Parameters
    ----------
    stream
        Where the text goes; None when the process was started with the stream closed.
    """

    def __init__(self, stream: TextIO | None) -> None:
        """Wrap a stream."""
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
