"""The command ``diagnose``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from cardprep.bench.diagnose import Known, diagnose, open_case
from cardprep.bench.jobs import Visit
from cardprep.bench.open import Bench, open_bench
from cardprep.cli.diagnose_words import card_of_stage, saw
from cardprep.cli.door import bar, place, say, say_object, stoppable
from cardprep.cli.job_command import visit_told
from cardprep.errors import BadValueError
from cardprep.job.visit import JobName
from cardprep.paper.diagnosis import diagnosis_lines
from cardprep.paper.diagnosis_names import Names
from cardprep.paper.diagnosis_object import diagnosis_object
from cardprep.paper.maker_summary import Sender, maker_lines
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import screen
from cardprep.texts.commands import COMMANDS, HELP
from cardprep.vessel.case import Case, Diagnosis
from cardprep.vessel.next_question import first_questions
from cardprep.vessel.observe import Question, answers

app = typer.Typer(add_completion=False, rich_markup_mode=None)


@app.command("diagnose", help=COMMANDS["diagnose"])
def diagnose_(
    ctx: typer.Context,
    job: Annotated[str | None, typer.Option(help=HELP["diagnose-job"])] = None,
    vessel: Annotated[str | None, typer.Option(help=HELP["vessel"])] = None,
    display: Annotated[str | None, typer.Option(help=HELP["display"])] = None,
    display_software: Annotated[str | None, typer.Option(help=HELP["display-software"])] = None,
    unit: Annotated[list[str] | None, typer.Option(help=HELP["unit"])] = None,
    file: Annotated[Path | None, typer.Option("--file", help=HELP["job-file"])] = None,
    seen: Annotated[list[str] | None, typer.Option("--saw", help=HELP["saw"])] = None,
    card: Annotated[list[str] | None, typer.Option(help=HELP["diagnose-card"])] = None,
    ask: Annotated[bool, typer.Option("--ask", help=HELP["ask"])] = False,
    for_maker: Annotated[bool, typer.Option("--for-maker", help=HELP["for-maker"])] = False,
    summary: Annotated[Path | None, typer.Option(help=HELP["summary"])] = None,
    as_json: Annotated[bool, typer.Option("--json", help=HELP["json"])] = False,
) -> None:
    """Find out what went wrong."""
    known = Known(
        saw=tuple(saw(text) for text in seen or []),
        cards=tuple(card_of_stage(text) for text in card or []),
    )
    about = _about(job, vessel, display, display_software, unit, file)
    with open_bench(place(ctx), screen("command.job")) as bench:
        case = open_case(
            bench, about, known, progress=bar(screen("check.reading")), cancel=stoppable()
        )
        sender = _sender(bench)
    diagnosis = _asked(case) if ask else diagnose(case)
    if summary is not None:
        _write(summary, maker_lines(case, diagnosis, sender))
    if for_maker:
        say(maker_lines(case, diagnosis, sender), fold=False)
    elif as_json:
        say_object(diagnosis_object(case, diagnosis))
    else:
        say(diagnosis_lines(case, diagnosis))
    if summary is not None and not as_json:
        say([screen("diagnose.written-to", file=spelled_out(str(summary)))])


def _about(
    job: str | None,
    vessel: str | None,
    display: str | None,
    display_software: str | None,
    unit: list[str] | None,
    file: Path | None,
) -> JobName | Visit:
    """Return the job that is meant, or the visit that was no job of ours."""
    of_visit = any((vessel, display, display_software, unit, file))
    if (job is None) != of_visit:
        raise BadValueError("diagnose.job-or-visit")
    if job is not None:
        return JobName.parse(job)
    return visit_told(vessel, None, display, display_software, unit, file)


def _sender(bench: Bench) -> Sender:
    settings = bench.shop.settings
    return Sender(
        shop=settings.name,
        operator=settings.operator,
        time=bench.place.clock(),
        version=bench.place.version,
    )


def _write(path: Path, lines: list[str]) -> None:
    try:
        with path.open("x", encoding="utf-8") as made:
            made.write("".join(f"{line}\n" for line in lines))
    except (OSError, ValueError) as error:
        problem = (error.strerror if isinstance(error, OSError) else None) or "?"
        shown = spelled_out(str(path))
        raise BadValueError("diagnose.summary-there", path=shown, problem=problem) from error


def _asked(case: Case) -> Diagnosis:
    """Ask the best question until one explanation is left, or none tells more.

    As long as all is as planned, every unit is asked about, one after the other.
    """
    names = Names(case)
    further: dict[Question, str] = {}
    passed_over: list[Question] = []
    while True:
        diagnosis = diagnose(case, further, passed_over)
        explanations = diagnosis.explained.explanations
        if explanations and not explanations[0].departures:
            left = {*diagnosis.observed, *passed_over}
            first = [one for one in first_questions(case.scene) if one not in left]
            if not first:
                return diagnosis
            question = first[0]
        elif diagnosis.asked is not None and len(explanations) > 1:
            say([screen("diagnose.ask-left", count=len(explanations))])
            question = diagnosis.asked.question
        else:
            return diagnosis
        # Also what none of the explanations allows: then nothing that is known explains it.
        answer = _answer(names, question, answers(case.scene, question))
        if answer is None:
            passed_over.append(question)
        else:
            further[question] = answer


def _answer(names: Names, question: Question, known: Sequence[str]) -> str | None:
    """Ask one question on the terminal; None for "don't know"."""
    lines = [names.question(question)]
    for number, answer in enumerate(known, 1):
        said = names.answer(question, answer)
        lines.append(screen("diagnose.ask-answers", number=number, answer=said))
    say([*lines, screen("diagnose.ask-unknown")])
    while True:
        told = typer.prompt(screen("diagnose.ask-prompt"), default="0", show_default=False).strip()
        if told.isascii() and told.isdecimal() and len(told) < 4 and int(told) <= len(known):
            return known[int(told) - 1] if int(told) else None
        say([screen("diagnose.ask-again", most=len(known))])
