"""Records of the shop log, and what was traced, as lines for a terminal."""

from __future__ import annotations

from cardprep.job.visit import Job
from cardprep.shoplog.record import Record
from cardprep.shoplog.verify import LogState
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import screen
from cardprep.texts.screens import KINDS, VERDICTS

_ABOUT = ("job", "stage", "card", "label", "outcome", "verdict", "file", "version", "serial")


def record_line(record: Record) -> str:
    """Return one record on one line; kinds of a newer version are shown by their slug."""
    return screen(
        "log.line",
        sequence=f"{record.bench}{record.sequence}",
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
    jobs: tuple[Job, ...],
    records: tuple[Record, ...],
    *,
    unchanged: bool | None,
) -> list[str]:
    """Return what the log knows of one card, job, file, digest or vessel."""
    field, value = asked
    slug = {"serial": "trace.card", "card": "trace.number", "job": "trace.job"}.get(field)
    lines = [screen(slug or "trace.other", field=field, value=spelled_out(value))]
    if unchanged is not None:
        lines.append(screen("trace.unchanged" if unchanged else "trace.changed"))
    lines += [
        screen(
            "trace.vessel",
            job=str(job.name),
            vessel=job.vessel.name,
            display=job.display.model,
        )
        for job in jobs
    ]
    return [*lines, *(record_line(record) for record in records)]
