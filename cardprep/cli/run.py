"""Run one command line and turn every way in which it can end into an exit status."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import typer

# The base of all mistakes in the words; typer gives it no public name.
from typer._click.exceptions import ClickException

from cardprep.cli.streams import put_error, silence, stand_in
from cardprep.errors import OWN_FAULT, CardprepError, StoppedError
from cardprep.texts.catalogue import refusal, screen


def run(words: list[str]) -> int:
    """Run a command line; return its exit status."""
    from cardprep.cli.app import app

    stand_in()
    try:
        status = app(words, prog_name="cardprep", standalone_mode=False)
    except CardprepError as error:
        return _refused(error)
    except ClickException as error:
        with suppress(OSError):
            error.show()
        return int(error.exit_code)
    except typer.Exit as error:
        return error.exit_code
    except (typer.Abort, KeyboardInterrupt):
        return _refused(StoppedError("stopped"))
    except (BrokenPipeError, SystemExit):
        # Whoever reads the help has seen enough, which typer answers by leaving.
        silence("stdout")
        return 0
    except Exception:  # noqa: BLE001 - the last door: a sentence and a report, no traceback
        return _own_fault()
    return status if isinstance(status, int) else 0


def _refused(error: CardprepError) -> int:
    text = refusal(error)
    put_error(screen("refused", message=text.message, remedy=text.remedy))
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
    put_error(screen("fault", report=report))
    return OWN_FAULT
