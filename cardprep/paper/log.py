"""Records of the shop log, and what was traced, as lines for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from cardprep.job.outcome import Outcome
from cardprep.job.visit import Job
from cardprep.job.written import WrittenCard
from cardprep.paper.fold import folded
from cardprep.shoplog.record import Record
from cardprep.shoplog.verify import LogState
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import screen
from cardprep.texts.screens import KINDS, VERDICTS

_ABOUT = (
    *("job", "stage", "card", "label", "outcome", "result", "verdict"),
    *("file", "version", "serial", "name", "target"),
)


_ASKED = {
    "volume": "trace.volume",
    "card": "trace.card",
    "job": "trace.job",
    "unit": "trace.unit",
    "label": "trace.label",
}


def record_line(record: Record) -> str:
    """Return one record on one line; kinds of a newer version are shown by their slug."""
    return screen(
        "log.line",
        sequence=f"{record.bench}-{record.sequence}",
        time=record.time,
        kind=f"{KINDS.get(record.kind, record.kind):<15}",
        about=_about(record),
    ).rstrip()


def _about(record: Record) -> str:
    body = record.body
    job = body.get("job")
    parts = []
    if isinstance(job, dict):
        vessel = job.get("vessel")
        vessel_name = vessel.get("name", "") if isinstance(vessel, dict) else ""
        name = str(job.get("name", ""))
        parts.append(screen("log.about-job", job=name, vessel=str(vessel_name)))
    for key in _ABOUT:
        value = body.get(key)
        if isinstance(value, str | int) and not isinstance(value, bool):
            text = VERDICTS.get(str(value), str(value)) if key == "verdict" else str(value)
            parts.append(screen("log.about", name=key, value=text))
    return spelled_out(", ".join(parts))


def state_lines(state: LogState) -> list[str]:
    """Return what the verification of a whole log established."""
    lines = [
        screen("log.good", size=state.size, checkpoints=state.checkpoints),
        screen("log.root", root=state.root.hex()),
    ]
    if state.sealed < state.size:
        lines.append(screen("log.unsealed", count=state.size - state.sealed))
    return lines


def traced_lines(
    asked: tuple[str, str],
    jobs: Sequence[Job],
    cards: Sequence[WrittenCard],
    outcomes: Sequence[tuple[str, Outcome]],
    records: Sequence[Record],
    *,
    unchanged: bool | None,
    width: int,
) -> list[str]:
    """Return what the log knows of one card, job, file, digest, label, serial or vessel."""
    field, value = asked
    slug = _ASKED.get(field, "trace.other")
    lines = [screen(slug, field=field, value=spelled_out(value))]
    if field == "volume" and not cards:
        lines.append(screen("trace.only-checked"))
    if unchanged is not None:
        lines.append(screen("trace.unchanged" if unchanged else "trace.changed"))
    if field == "volume" and len({card.number for card in cards}) > 1:
        lines.append(screen("trace.one-of"))
    for job in jobs:
        lines += ["", *_job_lines(job)]
        for card in cards:
            if card.job == str(job.name):
                lines += _card_lines(card)
        for time, outcome in outcomes:
            if outcome.job == job.name:
                lines += _outcome_lines(job, time, outcome)
    lines += ["", screen("trace.records", count=len(records))]
    return folded([*lines, *(record_line(record) for record in records)], width)


def _job_lines(job: Job) -> list[str]:
    name, vessel = str(job.name), spelled_out(job.vessel.name)
    lines = [screen("trace.vessel", job=name, vessel=vessel, display=job.display.model)]
    for number, unit in enumerate(job.units, 1):
        serial = "" if unit.serial is None else screen("job.serial", serial=unit.serial)
        role, model = unit.role, unit.model
        lines.append(screen("job.unit", number=number, role=role, model=model, serial=serial))
    return lines


def _card_lines(card: WrittenCard) -> list[str]:
    """Return one write: the card, what was on it, how it ended, and how anyone can check it."""
    outcome = card.outcome or "never-ended"
    lines = [
        screen(
            "trace.written",
            number=card.number,
            stage=card.stage,
            label=card.label,
            time=card.time,
            outcome=screen(f"trace.outcome-{outcome}"),
        )
    ]
    for file in card.files:
        named = {"path": spelled_out(file.path), "type": file.type, "version": file.version}
        lines.append(screen("trace.file-on-card", sha256=file.sha256, **named))
    lines.append(screen("trace.digest-of-card", length=card.length, sha256=card.sha256))
    return lines


def _unit_of(job: Job, number: int) -> str:
    """Return a unit by its number, so that two of one role are told apart."""
    role = job.units[number - 1].role if number <= len(job.units) else ""
    return f"{number} {role}".strip()


def _outcome_lines(job: Job, time: str, outcome: Outcome) -> list[str]:
    result = screen(f"result.{outcome.result.value}")
    whole = outcome.stage is None
    what = screen("outcome.whole") if whole else screen("outcome.stage", stage=outcome.stage or 0)
    if outcome.card is not None:
        what = screen("outcome.with-card", what=what, card=outcome.card)
    lines = [screen("trace.told", what=what, result=result, time=time)]
    for seen in outcome.seen:
        role = _unit_of(job, seen.unit)
        lines += [
            screen("outcome.seen", role=role, type=word, version=version.text)
            for word, version in seen.versions.items()
        ]
    if outcome.note is not None:
        lines.append(screen("trace.note", note=spelled_out(" ".join(outcome.note.split()))))
    return lines
