"""Find out what went wrong on board: with a job of ours or without one.

What is gathered here is what was planned, what the log proves of it, what somebody saw,
and what is on the cards now. What follows from it is found in ``vessel/``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from cardprep.bench.check import Wanted, check_card
from cardprep.bench.diagnose_log import evidence_of
from cardprep.bench.diagnose_told import Saw, of_units, spoken_in, told
from cardprep.bench.jobs import Planned, Visit, find_job, find_plan
from cardprep.bench.open import Bench
from cardprep.errors import JobError, ShopFolderError
from cardprep.job.stage import Stage
from cardprep.job.step import StageStep
from cardprep.job.visit import COMPANION_UNKNOWN, NO_COMPANION, Job, JobName
from cardprep.manifest.model import Manifest
from cardprep.progress import Cancel, Progress
from cardprep.rules.judge import Judgement
from cardprep.terms import spelled_out
from cardprep.vessel.aboard import check_visit
from cardprep.vessel.advice import advice
from cardprep.vessel.case import Case, Diagnosis, Evidence
from cardprep.vessel.departures import COMMONNESS_MOST, Kind, with_shops_own
from cardprep.vessel.explain import Explainer
from cardprep.vessel.next_question import next_question
from cardprep.vessel.observe import Asked, Question
from cardprep.vessel.plan import plan
from cardprep.vessel.scene import Stages, scene_of
from cardprep.vessel.stages import stages_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What a person brings: what was seen, and cards to be looked at, by their stage."""

    saw: tuple[Saw, ...] = ()
    cards: tuple[tuple[int, Path], ...] = ()


def open_case(
    bench: Bench,
    about: JobName | Visit,
    known: Known,
    *,
    progress: Progress,
    cancel: Cancel,
) -> Case:
    """Gather what is known of a visit.

    Raises JobError, BadValueError and NoPlanError for what there is not or cannot be,
    and what ``check_card`` raises for a card.
    """
    manifest = bench.trusted().manifest
    if isinstance(about, Visit):
        name, planned = None, None
        # The number is on no record; a visit that is no job has none.
        job = about.job(JobName(bench.shop.settings.bench, 1))
        check_visit(job.vessel, job.displays, job.units, manifest)
    else:
        name, job = about, find_job(bench, about)
        planned = _plan_of(bench, about)
    rows, stages = _rows(job, manifest, planned)
    if not rows:
        raise JobError("diagnose.no-stages")
    evidence, logged = (Evidence(), ()) if name is None else evidence_of(bench, name, stages)
    spoken = spoken_in(job, manifest, [*known.saw, *logged])
    scene = scene_of(_with_handsets(job, manifest, known.saw), manifest, rows, spoken)
    from_log = told(scene, job, logged)
    fresh = {
        _card_question(number, len(rows)): _card(
            bench, path, name, number, stages, progress=progress, cancel=cancel
        )
        for number, path in known.cards
    }
    now = told(scene, job, known.saw)
    looked_at = {question: answer for question, answer in fresh.items() if answer is not None}
    observed = {**from_log, **now, **looked_at}
    return Case(
        name=name,
        job=job,
        manifest=manifest,
        scene=scene,
        rows=rows,
        stages=stages,
        was_planned=planned is not None,
        evidence=evidence,
        explainer=Explainer(scene, _commonness(bench)),
        observed=dict(sorted(observed.items(), key=lambda pair: pair[0].order)),
        from_log=frozenset(from_log.keys() - now.keys()),
        looked_at=frozenset(looked_at),
    )


def diagnose(
    case: Case, further: Mapping[Question, str] | None = None, passed_over: Iterable[Question] = ()
) -> Diagnosis:
    """Return what follows from a case.

    further      answers that were given since it was opened
    passed_over  questions that nobody can answer
    """
    observed = {**case.observed, **(further or {})}
    explained = case.explainer.explain(observed)
    some = explained.explanations
    return Diagnosis(
        observed=observed,
        explained=explained,
        advices=tuple(advice(case.scene, case.job, case.manifest, o, observed) for o in some),
        asked=next_question(case.scene, some, observed, passed_over),
    )


def _with_handsets(job: Job, manifest: Manifest, saws: Sequence[Saw]) -> Job:
    """Return the job with what was seen of handsets that nobody knew of when it was planned."""
    units = list(job.units)
    for number, key, value in of_units(job, saws):
        facts = manifest.model(units[number].model)
        if units[number].companion != COMPANION_UNKNOWN or facts is None or facts.companion is None:
            continue
        if key == Asked.HANDSET.value:
            there = facts.companion.model if value.casefold() != NO_COMPANION else NO_COMPANION
            units[number] = replace(units[number], companion=there)
    return replace(job, units=tuple(units))


def _plan_of(bench: Bench, name: JobName) -> Planned | None:
    try:
        return find_plan(bench, name)
    except JobError as error:
        if error.reason not in ("job.not-planned", "job.changed"):
            raise
        return None


def _rows(
    job: Job, manifest: Manifest, planned: Planned | None
) -> tuple[Stages, tuple[Stage, ...]]:
    """Return the stages, as they were planned or else as they are planned now."""
    if planned is None:
        found = plan(job, manifest)
        now = [
            (stage.display, [(step.unit, step.image.sha256) for step in stage.steps])
            for stage in found.stages
        ]
        return now, stages_of(job, found, manifest)
    displays = [display.model for display in job.displays]
    rows = []
    for stage, steps in zip(planned.stages, planned.steps, strict=True):
        digests = [(step.unit - 1, _digest(job, stage, step)) for step in steps]
        rows.append((displays.index(stage.display), digests))
    return rows, planned.stages


def _digest(job: Job, stage: Stage, step: StageStep) -> str:
    """Return which file of a stage a step loads; "" if the record does not fit together."""
    model = job.units[step.unit - 1].model if step.unit <= len(job.units) else ""
    for file in stage.files:
        fits = file.image_type.word == step.type and file.version == step.version
        if fits and model in file.models:
            return file.sha256
    return ""


def _card_question(number: int, count: int) -> Question:
    if not 1 <= number <= count:
        raise JobError("diagnose.stage", stage=number, of=count)
    return Question(Asked.CARD, stage=number - 1)


# What was found on a card, and what a display or a unit makes of it; the first that holds.
_FOUND: Mapping[str, tuple[str, ...]] = {
    "unreadable": (
        *("volume-unreadable", "no-volume", "display-file-system", "card-too-large"),
        *("read-error", "card-empty", "folder-damaged"),
    ),
    "mixed": ("mixed-types", "two-versions"),
    "altered": (
        *("altered", "cut-short", "container-broken", "left-packed"),
        *("content-differs-from-stage", "chain-broken", "chain-too-short"),
    ),
    "other": ("other-card", "other-job", "not-for-these-units", "no-image"),
}


def _card(
    bench: Bench,
    path: Path,
    name: JobName | None,
    number: int,
    stages: Sequence[Stage],
    *,
    progress: Progress,
    cancel: Cancel,
) -> str | None:
    """Look at a card afresh, as ``check`` does; None if that leaves it undecided."""
    stage = stages[number - 1]
    if name is None:
        wanted = Wanted(display=stage.display)
    else:
        planned = _plan_of(bench, name) is not None
        wanted = Wanted(job=name, stage=number if planned else None, display=stage.display)
    checked = check_card(bench, path, wanted=wanted, progress=progress, cancel=cancel)
    return what_is_on_it(checked.judgement, stage)


def what_is_on_it(judgement: Judgement, stage: Stage) -> str | None:
    """Return in one word what is on a card that ought to be a stage's; None for cannot say."""
    slugs = {finding.slug for finding in judgement.findings}
    for word, some in _FOUND.items():
        if not slugs.isdisjoint(some):
            return word
    digests = {
        file.digests.sha256 for file in judgement.inspection.files if file.digests is not None
    }
    if {file.sha256 for file in stage.files} <= digests:
        return "right"
    return "other" if "matches" in slugs else None


def _commonness(bench: Bench) -> Mapping[Kind, int]:
    """Return how common each departure is, as the shop has it."""
    own: dict[Kind, int] = {}
    known = {kind.value: kind for kind in Kind}
    for slug, number in bench.shop.settings.commonness.items():
        if slug not in known or not 1 <= number <= COMMONNESS_MOST:
            raise ShopFolderError(
                "shop.settings-commonness",
                found=spelled_out(slug[:40]),
                known=", ".join(known),
                most=COMMONNESS_MOST,
            )
        own[known[slug]] = number
    return with_shops_own(own)
