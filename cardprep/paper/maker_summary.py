"""A summary for the maker's support, as plain text: what was aboard, loaded, seen and believed.

Nothing of the customer stands in it but the vessel's name.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cardprep.paper.diagnosis import how_sure
from cardprep.paper.diagnosis_names import Names
from cardprep.terms import Version
from cardprep.texts.catalogue import screen
from cardprep.vessel.case import Case, Diagnosis
from cardprep.vessel.observe import Asked, Question

_BELIEFS_MOST = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Sender:
    """Who writes it, when, and with what."""

    shop: str
    operator: str
    time: str
    version: str


def maker_lines(case: Case, diagnosis: Diagnosis, sender: Sender) -> list[str]:
    """Return the summary."""
    names = Names(case)
    lines = [
        screen("maker.title"),
        screen("maker.from", shop=sender.shop, operator=sender.operator),
        screen("maker.date", time=sender.time),
        screen("maker.vessel", vessel=case.job.vessel.name),
    ]
    if case.name is not None:
        lines.append(screen("maker.job", job=str(case.name)))
    for display in case.job.displays:
        software = _version(display.software)
        lines.append(screen("maker.display", model=display.model, software=software))
    lines += ["", screen("maker.units")]
    for number in range(len(case.job.units)):
        lines += _unit(case, names, diagnosis, number)
    lines += ["", screen("maker.files"), *_files(case, names)]
    lines += ["", screen("maker.seen")]
    for question, answer in diagnosis.observed.items():
        said = names.answer(question, answer)
        lines.append(screen("maker.seen-line", about=names.about(question), answer=said))
    if not diagnosis.observed:
        lines.append(screen("maker.nothing-seen"))
    lines += ["", screen("maker.believed"), *_believed(names, diagnosis)]
    return [*lines, "", screen("maker.end", version=sender.version)]


def _version(version: Version | None) -> str:
    return screen("maker.not-known") if version is None else version.text


def _unit(case: Case, names: Names, diagnosis: Diagnosis, number: int) -> Iterator[str]:
    unit = case.job.units[number]
    yield screen(
        "maker.unit",
        number=number + 1,
        role=unit.role,
        model=unit.model,
        serial=unit.serial or screen("maker.not-known"),
    )
    aboard = case.scene.vessel.units[number]
    for slot, kind in enumerate(aboard.slots):
        own = slot < aboard.own
        if slot == aboard.own and unit.companion is not None:
            yield screen("maker.unit-handset", model=unit.companion)
        told = unit.versions if own else unit.companion_versions
        question = Question(Asked.VERSION, unit=number, slot=slot)
        now = diagnosis.observed.get(question)
        if kind not in told and kind not in unit.wanted and now is None:
            continue
        wanted = unit.wanted.get(kind)
        yield screen(
            "maker.unit-version" if own else "maker.handset-version",
            type=kind,
            before=_version(told.get(kind)),
            wanted=screen("maker.not-asked") if wanted is None else wanted.text,
            now=screen("maker.not-known") if now is None else names.version(now),
        )


def _files(case: Case, names: Names) -> Iterator[str]:
    for number, stage in enumerate(case.stages):
        for file in stage.files:
            yield screen(
                "maker.file",
                stage=number + 1,
                file=file.path[-1],
                type=file.image_type.word,
                version=file.version.text,
                models=", ".join(file.models),
            )
            yield screen("maker.sha256", sha256=file.sha256)
            into = [
                names.unit(unit) for unit, sha256 in case.rows[number][1] if sha256 == file.sha256
            ]
            yield screen("maker.into", units=", ".join(into))


def _believed(names: Names, diagnosis: Diagnosis) -> Iterator[str]:
    explanations = diagnosis.explained.explanations
    if not explanations:
        yield screen("maker.nothing-fits")
        return
    if not explanations[0].departures:
        yield screen("maker.as-planned")
        return
    sure = len(explanations) == 1 and diagnosis.explained.whole
    yield screen("maker.sure" if sure else "maker.unsure")
    pairs = list(zip(explanations, diagnosis.advices, strict=True))
    for number, (one, advice) in enumerate(pairs[:_BELIEFS_MOST], 1):
        said = [names.departure(departure) for departure in one.departures]
        yield screen("maker.belief", number=number, what=said[0])
        for what in said[1:]:
            yield screen("maker.belief-and", what=what)
        share = how_sure(one, explanations)
        yield screen("maker.how-sure" if share else "maker.how-sure-less", percent=share)
        for harm in advice.harm:
            yield screen("maker.harm", what=names.advised(harm))
    if len(pairs) > _BELIEFS_MOST:
        yield screen("maker.more", count=len(pairs) - _BELIEFS_MOST)
