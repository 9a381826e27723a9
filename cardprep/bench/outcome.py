"""Record what came of a job on board: done, in part, not done, and what the units showed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cardprep.bench.jobs import find_job, find_stage
from cardprep.bench.open import Bench
from cardprep.bench.records import BEGUN, ENDED, OUTCOME
from cardprep.errors import BadValueError, JobError
from cardprep.job.outcome import Outcome, Result, Seen
from cardprep.job.visit import Job, JobName, Unit
from cardprep.manifest.model import Manifest
from cardprep.shoplog.record import IndexEntry
from cardprep.terms import Version, VersionOrder, spelled_out


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the engineer tells, before it is held against the job.

    seen  who (number, serial, role or model) and the versions that it showed
    """

    result: Result
    stage: int | None = None
    card: int | None = None
    seen: tuple[tuple[str, Mapping[str, Version]], ...] = ()
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """An outcome that is in the log.

    missing  for each unit that does not show what was wanted: its number, type,
             version seen (None if none was told) and version wanted
    """

    job: Job
    outcome: Outcome
    missing: tuple[tuple[int, str, Version | None, Version], ...]


def record_outcome(bench: Bench, name: JobName, told: Told) -> Recorded:
    """Record an outcome.

    Raises JobError for a job, a stage, a card or a unit that there is not, and
    for a job that is told to be done although a unit shows another version.
    """
    job = find_job(bench, name)
    if told.stage is not None:
        find_stage(bench, name, told.stage)
    if told.card is not None:
        _require_card(bench, name, told.stage, told.card)
    seen = tuple(Seen(unit=unit_meant(job, who), versions=versions) for who, versions in told.seen)
    for one in seen:
        _require_types(bench, job.units[one.unit - 1], one)
    outcome = Outcome(
        job=name, result=told.result, stage=told.stage, card=told.card, seen=seen, note=told.note
    )
    missing = () if told.stage is not None else _missing(bench, job, seen)
    if told.result is Result.DONE:
        for number, word, version, wanted in missing:
            if version is not None:
                raise JobError(
                    "outcome.contradicts",
                    role=job.units[number - 1].role,
                    type=word,
                    seen=version.text,
                    wanted=wanted.text,
                )
    index: list[IndexEntry] = [("job", str(name)), ("vessel", job.vessel.name.casefold())]
    if told.card is not None:
        index.append(("card", str(told.card)))
    bench.record(OUTCOME, outcome.to_record(), index)
    return Recorded(job=job, outcome=outcome, missing=missing)


def _require_card(bench: Bench, name: JobName, stage: int | None, card: int) -> None:
    """Refuse a card that the log does not have with this job and stage."""
    for record in bench.log.find("card", str(card)):
        of_job = record.kind in (BEGUN, ENDED) and record.body.get("job") == str(name)
        if of_job and stage in (None, record.body.get("stage")):
            return
    raise JobError("outcome.card", card=card, job=str(name))


def unit_meant(job: Job, who: str) -> int:
    """Return the number, from 1, of the one unit that is meant; JobError if there is none."""
    word = " ".join(who.casefold().split())
    units = list(enumerate(job.units, 1))
    ways = (
        [number for number, _ in units if str(number) == word],
        [n for n, unit in units if unit.serial is not None and unit.serial.casefold() == word],
        [n for n, unit in units if " ".join(unit.role.casefold().split()) == word],
        [n for n, unit in units if unit.model.casefold() == word],
    )
    for found in ways:
        if len(found) == 1:
            return found[0]
    known = "; ".join(f"{number} = {unit.role}, {unit.model}" for number, unit in units)
    raise JobError("outcome.unit", found=spelled_out(who[:60]), known=known)


def _require_types(bench: Bench, unit: Unit, seen: Seen) -> None:
    """Refuse a type that the unit has not, and a version that is none; the log keeps all."""
    trusted, _ = bench.trusted_or_reason()
    known = {*unit.versions, *unit.wanted}
    order = VersionOrder()
    if trusted is not None:
        facts = trusted.manifest.model(unit.model)
        known |= set() if facts is None else {one.word for one in facts.types}
    for word, version in seen.versions.items():
        if known and word not in known:
            raise JobError(
                "outcome.type", found=word, role=unit.role, known=", ".join(sorted(known))
            )
        image_type = None if trusted is None else trusted.manifest.image_type(word)
        if trusted is not None and image_type is not None:
            order = trusted.manifest.version_order(unit.model, image_type)
            try:
                order.key(version)
            except BadValueError as error:
                raise JobError("outcome.version", found=version.text, type=word) from error


def _missing(
    bench: Bench, job: Job, seen: tuple[Seen, ...]
) -> tuple[tuple[int, str, Version | None, Version], ...]:
    trusted, _ = bench.trusted_or_reason()
    manifest = None if trusted is None else trusted.manifest
    shown = {(one.unit, word): v for one in seen for word, v in one.versions.items()}
    found = []
    for number, unit in enumerate(job.units, 1):
        for word, wanted in unit.wanted.items():
            version = shown.get((number, word))
            if version is None or not _same(manifest, unit.model, word, version, wanted):
                found.append((number, word, version, wanted))
    return tuple(found)


def _same(manifest: Manifest | None, model: str, word: str, one: Version, other: Version) -> bool:
    """Return whether two spellings are one version, by the manifest's order if there is one."""
    image_type = None if manifest is None else manifest.image_type(word)
    order = VersionOrder()
    if manifest is not None and image_type is not None:
        order = manifest.version_order(model, image_type)
    try:
        return order.same(one, other)
    except BadValueError:
        return one == other
