"""The three streams of the program, which may be closed, full or left by whoever read them.

What a command established must reach its exit status whatever becomes of its
output; and no file that is opened later, such as a card, may take the place of
a closed stream.
"""

from __future__ import annotations

import os
import sys

from cardprep.errors import OutputError

_STREAMS = (("stdin", "r"), ("stdout", "w"), ("stderr", "w"))


def stand_in() -> None:
    """Put an empty stream in the place of each that is closed."""
    for number in range(len(_STREAMS)):
        try:
            os.fstat(number)
        except OSError:
            # The lowest number that is free is taken, which is this one.
            os.open(os.devnull, os.O_RDWR)
    for name, mode in _STREAMS:
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115, PTH123 - it stays open as long as the program


def put_out(text: str) -> None:
    """Print a line; OutputError if it cannot be stored, silence if nobody reads it any more."""
    try:
        sys.stdout.write(text + "\n")
        sys.stdout.flush()
    except BrokenPipeError:
        silence("stdout")
    except OSError as error:
        cause = error.strerror or type(error).__name__
        silence("stdout")
        raise OutputError("output.failed", cause=cause) from error


def put_error(text: str) -> None:
    """Print a line on the error stream, if it takes one."""
    try:
        sys.stderr.write(text + "\n")
        sys.stderr.flush()
    except (OSError, ValueError):
        # Nobody is there to be told; the exit status says it too.
        silence("stderr")


def silence(name: str) -> None:
    """Let what a stream has still to give go nowhere, so that the exit status gets through."""
    sink = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(sink, getattr(sys, name).fileno())
    except (OSError, ValueError):
        setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115, PTH123 - as above
    finally:
        os.close(sink)
