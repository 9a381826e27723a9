"""What the commands share: where the shop is, how results are printed, how progress shows."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import typer

from cardprep.bench.open import Place
from cardprep.canonical import Json
from cardprep.cli.streams import put_out
from cardprep.findings import Verdict
from cardprep.paper.card import verdict_line
from cardprep.paper.fold import folded
from cardprep.progress import Cancel, Progress, silent
from cardprep.shop.place import settings_folder, shop_folder
from cardprep.version import VERSION

STATUS = {
    Verdict.USE: 0,
    Verdict.USE_WITH_CARE: 3,
    Verdict.DO_NOT_USE: 10,
    Verdict.CANNOT_SAY: 11,
}
# Colour beside word and sign, never alone.
_SIGNS = {
    Verdict.USE: ("[+]", "green"),
    Verdict.USE_WITH_CARE: ("[!]", "yellow"),
    Verdict.DO_NOT_USE: ("[X]", "red"),
    Verdict.CANNOT_SAY: ("[?]", "magenta"),
}
_EVERY = 0.1


def place(ctx: typer.Context) -> Place:
    """Return where the shop is and who works there."""
    environment, home = os.environ, Path.home()
    option = ctx.find_root().obj
    return Place(
        shop=shop_folder(option, environment, home, sys.platform),
        settings=settings_folder(environment, home, sys.platform),
        agent_socket=environment.get("SSH_AUTH_SOCK"),
        version=VERSION,
        clock=lambda: time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
    )


def say(lines: list[str], *, fold: bool = True) -> None:
    """Print lines, those that are too long for the terminal folded.

    fold  not for what a person copies as one line
    """
    for line in folded(lines, width()) if fold else lines:
        put_out(line)


def say_object(value: Json) -> None:
    """Print one JSON object."""
    put_out(json.dumps(value, indent=2, ensure_ascii=True, sort_keys=True))


def say_verdict(verdict: Verdict) -> None:
    """Print the verdict large: sign, word, and colour where somebody looks at it."""
    sign, colour = _SIGNS[verdict]
    line = f"{sign} {verdict_line(verdict)}"
    if sys.stdout.isatty() and not os.environ.get("NO_COLOR"):
        line = typer.style(line, fg=colour, bold=True)
    put_out(line)


def width() -> int:
    """Return the columns of the terminal."""
    return shutil.get_terminal_size((96, 24)).columns


def bar(what: str) -> Progress:
    """Return progress that shows on a terminal and is silent everywhere else."""
    if not sys.stderr.isatty():
        return silent
    return _Line(what)


class _Line:
    """Progress as one line that is written over."""

    def __init__(self, what: str) -> None:
        self._what = what
        self._last = 0.0
        self._begun = time.monotonic()

    def __call__(self, done: int, total: int, /) -> None:
        now = time.monotonic()
        if now - self._last < _EVERY and done < total:
            return
        self._last = now
        spent = now - self._begun
        rate = done / spent / 1e6 if spent > 0 else 0.0
        left = (total - done) / (done / spent) if done and spent > 0 else 0.0
        share = 100 * done // total if total else 100
        end = "\n" if done >= total else ""
        with suppress(OSError):
            sys.stderr.write(
                f"\r{self._what} {share:3d} %  {rate:6.1f} MB/s  {left:4.0f} s left \x1b[K{end}"
            )
            sys.stderr.flush()


def stoppable() -> Cancel:
    """Return a Cancel that Ctrl-C asks; a second Ctrl-C ends the program at once."""
    cancel = Cancel()

    def ask(number: int, frame: object) -> None:
        del number, frame
        cancel.ask()
        signal.signal(signal.SIGINT, signal.default_int_handler)

    signal.signal(signal.SIGINT, ask)
    return cancel


def leave_with(verdict: Verdict) -> None:
    """End the command with the verdict's exit status."""
    raise typer.Exit(STATUS[verdict])


Steps = Callable[[str], Progress]
