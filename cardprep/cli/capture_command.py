"""The command ``capture``."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer

from cardprep.bench.capture import Captured, CardToCapture, capture_card, verify_capture
from cardprep.bench.open import Bench, bench_or_none
from cardprep.cli.door import bar, place, say, say_object, stoppable, width
from cardprep.errors import BadValueError
from cardprep.paper.capture import capture_lines, capture_object
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP
from cardprep.version import VERSION

app = typer.Typer(add_completion=False, rich_markup_mode=None)

_MINUTES, _MINUTES_MOST = 20, 24 * 60
_WITH_LOSS = 3


@app.command("capture", help=COMMANDS["capture"])
def capture(
    ctx: typer.Context,
    card: Annotated[Path, typer.Argument(help=HELP["capture-card"], metavar="CARD")],
    file: Annotated[
        Path | None, typer.Argument(help=HELP["capture-file"], metavar="[FILE]")
    ] = None,
    verify: Annotated[bool, typer.Option("--verify", help=HELP["capture-verify"])] = False,
    minutes: Annotated[int, typer.Option(help=HELP["capture-minutes"])] = _MINUTES,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Capture one card, or read a capture whole."""
    if verify is not (file is None):
        raise BadValueError("capture.which")
    if not 0 <= minutes <= _MINUTES_MOST:
        raise BadValueError("capture.minutes", found=minutes, most=_MINUTES_MOST)
    reason: str | None = None
    if file is None:
        found = verify_capture(card, bar(screen("capture.verify")), stoppable())
    else:
        found, reason = _capture(ctx, card, file, minutes * 60)
    facts = (found.index, str(found.path), found.length, found.sha256)
    if as_json:
        say_object(capture_object(*facts, recorded=not verify and reason is None))
    else:
        say(capture_lines(*facts, made=not verify, reason=reason, width=width()), fold=False)
    if found.lost:
        raise typer.Exit(_WITH_LOSS)


def _capture(
    ctx: typer.Context, card: Path, file: Path, patience: float
) -> tuple[Captured, str | None]:
    here = place(ctx)
    wanted = CardToCapture(
        card=card,
        target=file,
        tool=VERSION,
        clock=here.clock,
        seconds=time.monotonic,
        patience=patience,
    )
    bench = bench_or_none(here)
    try:
        found = capture_card(
            bench, wanted, lambda step: bar(screen(f"capture.{step}")), stoppable()
        )
    finally:
        if isinstance(bench, Bench):
            bench.log.close()
    return found, None if isinstance(bench, Bench) else bench.reason
