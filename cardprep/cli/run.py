"""Run one command line and turn every way in which it can end into an exit status."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

# The base of all mistakes in the words; typer gives it no public name.
from typer._click.exceptions import ClickException

from cardprep.errors import OWN_FAULT, CardprepError, StoppedError
from cardprep.texts.catalogue import refusal, screen


def run(words: list[str]) -> int:
    """Run a command line; return its exit status."""
    from cardprep.cli.app import app

    try:
        status = app(words, prog_name="cardprep", standalone_mode=False)
    except CardprepError as error:
        return _refused(error)
    except ClickException as error:
        error.show()
        return int(error.exit_code)
    except typer.Exit as error:
        return error.exit_code
    except (typer.Abort, KeyboardInterrupt):
        return _refused(StoppedError("stopped"))
    except BrokenPipeError:
        # Whoever reads our output has seen enough.
        sys.stderr.close()
        return 0
    except Exception:  # noqa: BLE001 - the last door: a sentence and a report, no traceback
        return _own_fault()
    return status if isinstance(status, int) else 0


def _refused(error: CardprepError) -> int:
    text = refusal(error)
    sys.stderr.write(screen("refused", message=text.message, remedy=text.remedy) + "\n")
    return error.exit_status


def _own_fault() -> int:
    """Keep what happened in a file and say where it is."""
    # Needed here only, and slow to load.
    import tempfile
    import traceback

    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", prefix="cardprep-report-", suffix=".txt", delete=False
        ) as file:
            traceback.print_exc(file=file)
            report = str(Path(file.name))
    except OSError:
        report = screen("fault.no-file")
    sys.stderr.write(screen("fault", report=report) + "\n")
    return OWN_FAULT
