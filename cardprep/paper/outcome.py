"""What came of a job, as lines for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from cardprep.job.outcome import Outcome
from cardprep.job.visit import Job
from cardprep.terms import Version
from cardprep.texts.catalogue import screen


def recorded_lines(
    job: Job, outcome: Outcome, missing: Sequence[tuple[int, str, Version | None, Version]]
) -> list[str]:
    """Return what was recorded, and what of it is not as it was wanted.

    missing  number of the unit, type, version seen or None, version wanted
    """
    if outcome.stage is None:
        what = screen("outcome.whole")
    else:
        what = screen("outcome.stage", stage=outcome.stage)
    result = screen(f"result.{outcome.result.value}")
    lines = [screen("outcome.recorded", job=str(job.name), what=what, result=result)]
    for seen in outcome.seen:
        role = f"{seen.unit} {job.units[seen.unit - 1].role}"
        lines += [
            screen("outcome.seen", role=role, type=word, version=version.text)
            for word, version in seen.versions.items()
        ]
    for number, word, version, wanted in missing:
        named = {
            "role": f"{number} {job.units[number - 1].role}",
            "type": word,
            "wanted": wanted.text,
        }
        if version is None:
            lines.append(screen("outcome.not-told", **named))
        else:
            lines.append(screen("outcome.other", seen=version.text, **named))
    return lines
