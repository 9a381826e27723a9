"""What the log proves of a job's cards: which were written, which were checked, what was told.

It proves no more than that: not that a card was used, nor that it still is what it was.
"""

from __future__ import annotations

from collections.abc import Sequence

from cardprep.bench.diagnose_told import Saw
from cardprep.bench.open import Bench
from cardprep.bench.records import BEGUN, CHANGED, CHECKED, ENDED, OUTCOME
from cardprep.bench.trace import outcome_in
from cardprep.job.stage import Stage
from cardprep.job.visit import JobName
from cardprep.job.written import WrittenCard, written_card
from cardprep.shoplog.record import Record
from cardprep.vessel.case import CheckedCard, Evidence


def evidence_of(
    bench: Bench, name: JobName, stages: Sequence[Stage]
) -> tuple[Evidence, tuple[Saw, ...]]:
    """Return what the log proves of a job with these stages.

    Also the versions that units were told to show after all of it.
    """
    records = bench.log.find("job", str(name))
    written = _written(records, stages)
    changed = [place for place, record in enumerate(records) if record.kind == CHANGED]
    # What was said of a visit that was told otherwise then is not said of this one.
    records = records[changed[-1] if changed else 0 :]
    told = tuple((r.time, outcome_in(r)) for r in records if r.kind == OUTCOME)
    last = [outcome for _, outcome in told if outcome.stage in (None, len(stages))]
    saws = tuple(
        Saw(str(seen.unit), tuple((word, v.text) for word, v in seen.versions.items()))
        for seen in (last[-1].seen if last else ())
    )
    checked = tuple(_checked(record) for record in records if record.kind == CHECKED)
    return Evidence(written=written, checked=checked, told=told), saws


def _written(records: Sequence[Record], stages: Sequence[Stage]) -> tuple[WrittenCard, ...]:
    """Return the writes of cards with the files that these stages have."""
    ends = {
        record.body.get("begun"): (record.sequence, record.body)
        for record in records
        if record.kind == ENDED
    }
    files = {stage.number: {file.sha256 for file in stage.files} for stage in stages}
    cards = [
        written_card(record.sequence, record.time, record.body, ends.get(record.sequence))
        for record in records
        if record.kind == BEGUN
    ]
    return tuple(
        card for card in cards if files.get(card.stage) == {file.sha256 for file in card.files}
    )


def _checked(record: Record) -> CheckedCard:
    stage = record.body.get("stage")
    return CheckedCard(
        stage=stage if isinstance(stage, int) else None,
        verdict=str(record.body.get("verdict", "")),
        time=record.time,
    )
