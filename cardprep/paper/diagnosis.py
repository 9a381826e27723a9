"""A diagnosis as lines for a terminal: what was planned, proved and seen, and what explains it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cardprep.paper.diagnosis_names import Names
from cardprep.texts.catalogue import screen
from cardprep.texts.screens import VERDICTS
from cardprep.vessel.acts import CARD_FAULTS
from cardprep.vessel.advice import Advised, other_causes
from cardprep.vessel.case import Case, Diagnosis
from cardprep.vessel.departures import Departure, Kind
from cardprep.vessel.explain import Explanation, fits
from cardprep.vessel.observe import Asked, Observed, Question, questions

EXPLANATIONS_SHOWN = 8
_WOULD_SHOW_MOST = 3


def diagnosis_lines(case: Case, diagnosis: Diagnosis) -> list[str]:
    """Return everything, in the order in which it is needed on the telephone."""
    names = Names(case)
    explained = diagnosis.explained
    lines = [*_visit(case), *_planned(case, names), *_logged(case)]
    lines += ["", *seen_lines(case, names, diagnosis.observed), "", *_found(diagnosis)]
    shown = explained.explanations[:EXPLANATIONS_SHOWN] if diagnosis.observed else ()
    pairs = zip(shown, diagnosis.advices, strict=False)
    for number, (one, advice) in enumerate(pairs, 1):
        lines += ["", *_what(names, one, number)]
        lines += _evidence(case, names, one, diagnosis)
        lines += [screen("diagnose.harm", what=names.advised(said)) for said in advice.harm]
        lines += [screen("diagnose.next", what=names.advised(said)) for said in advice.steps]
    rest = len(explained.explanations) - EXPLANATIONS_SHOWN
    if rest > 0:
        lines += ["", screen("diagnose.more", count=rest)]
    if explained.explanations and not explained.whole:
        lines.append(screen("diagnose.not-whole", most=explained.most))
    advices = diagnosis.advices[:EXPLANATIONS_SHOWN]
    cautions = dict.fromkeys(said for one in advices for said in one.cautions)
    cautions = cautions or dict.fromkeys((*other_causes(diagnosis.observed), Advised("care.maker")))
    lines += ["", screen("diagnose.cares")]
    lines += [screen("diagnose.care-line", what=names.advised(said)) for said in cautions]
    return [*lines, "", *question_lines(names, diagnosis)]


def _visit(case: Case) -> list[str]:
    vessel, display = case.job.vessel.name, case.job.display.model
    if case.name is None:
        return [screen("diagnose.no-job", vessel=vessel, display=display)]
    return [screen("diagnose.of-job", job=str(case.name), vessel=vessel, display=display)]


def _planned(case: Case, names: Names) -> Iterator[str]:
    yield ""
    yield screen("diagnose.planned" if case.was_planned else "diagnose.as-if")
    for number, (display, steps) in enumerate(case.rows):
        yield screen(
            "diagnose.stage",
            stage=number + 1,
            of=len(case.rows),
            what=names.stage(number),
            display=names.display(display),
        )
        for unit, sha256 in steps:
            image = case.manifest.by_sha256(sha256)
            if image is None:
                yield screen("diagnose.image-gone", sha256=sha256)
                continue
            now = case.job.units[unit].versions.get(image.type.word)
            yield screen(
                "diagnose.step",
                type=image.type.word,
                version=image.version.text,
                unit=names.unit(unit),
                now=screen("words.unknown") if now is None else now.text,
            )


def _logged(case: Case) -> Iterator[str]:
    if case.name is None:
        return
    yield ""
    yield screen("diagnose.logged")
    evidence = case.evidence
    for card in evidence.written:
        right = card.outcome == "done"
        slug = "diagnose.log-written" if right else "diagnose.log-not-right"
        yield screen(slug, card=card.number, stage=card.stage, time=card.time)
    for number in range(1, len(case.rows) + 1):
        if not any(card.stage == number for card in evidence.written):
            yield screen("diagnose.log-not-written", stage=number)
    for checked in evidence.checked:
        if checked.stage is not None:
            verdict = VERDICTS.get(checked.verdict, checked.verdict)
            yield screen(
                "diagnose.log-checked", stage=checked.stage, verdict=verdict, time=checked.time
            )
    for time, told in evidence.told:
        whole = screen("diagnose.log-whole")
        if told.stage is not None:
            whole = screen("diagnose.log-stage", stage=told.stage)
        result = screen(f"result.{told.result.value}")
        yield screen("diagnose.log-told", whole=whole, result=result, time=time)


def seen_lines(case: Case, names: Names, observed: Observed) -> list[str]:
    """Return what is known now, each answer with where it comes from."""
    lines = [screen("diagnose.seen")]
    for question, answer in observed.items():
        slug = "diagnose.seen-line"
        if question in case.from_log and case.observed.get(question) == answer:
            slug = "diagnose.seen-from-log"
        elif question in case.looked_at:
            slug = "diagnose.seen-card"
        said = names.answer(question, answer)
        lines.append(screen(slug, about=names.about(question), answer=said))
    return lines if observed else [*lines, screen("diagnose.seen-nothing")]


def _found(diagnosis: Diagnosis) -> list[str]:
    explained = diagnosis.explained
    count = len(explained.explanations)
    if not count:
        slug = "diagnose.none" if explained.whole else "diagnose.none-so-far"
        return [screen(slug, most=explained.most), screen("diagnose.none-next")]
    if not explained.explanations[0].departures:
        told = bool(diagnosis.observed)
        return [screen("diagnose.as-planned" if told else "diagnose.nothing-told")]
    lines = [screen("diagnose.one" if count == 1 else "diagnose.several", count=count)]
    if len({advice.steps for advice in diagnosis.advices}) > 1:
        lines.append(screen("diagnose.not-yet"))
    return lines


def _what(names: Names, one: Explanation, number: int) -> list[str]:
    said = [names.departure(departure) for departure in one.departures]
    if not said:
        return []
    first = screen("diagnose.explanation", number=number, what=said[0])
    return [first, *(screen("diagnose.and", what=what) for what in said[1:])]


# --- evidence


def _evidence(case: Case, names: Names, one: Explanation, diagnosis: Diagnosis) -> Iterator[str]:
    if not one.departures:
        return
    observed = diagnosis.observed
    explanations = diagnosis.explained.explanations
    share = how_sure(one, explanations)
    slug = "diagnose.sure" if share else "diagnose.sure-less"
    yield screen("diagnose.sure-only" if len(explanations) == 1 else slug, percent=share)
    for question in evidence_for(case, one, observed):
        said = names.answer(question, observed[question])
        yield screen("diagnose.for", about=names.about(question), answer=said)
    for departure in one.departures:
        for what in evidence_against(case, names, departure):
            yield screen("diagnose.against", what=what)
    for question, answer in would_show(case, one, observed)[:_WOULD_SHOW_MOST]:
        said = names.answer(question, answer)
        yield screen("diagnose.would-show", about=names.about(question), answer=said)


def how_sure(one: Explanation, all_of_them: Sequence[Explanation]) -> int:
    """Return how many in a hundred, by how common the departures are."""
    total = sum(other.weight for other in all_of_them)
    return round(100 * one.weight / total) if total else 0


def evidence_for(case: Case, one: Explanation, observed: Observed) -> list[Question]:
    """Return the answers that need the departures: with one of them less, they would be others."""
    found: set[Question] = set()
    for departure in one.departures:
        less = case.explainer.runs(other for other in one.departures if other != departure)
        found.update(
            question
            for question, answer in observed.items()
            if not any(run.allows(question, answer) for run in less)
        )
    return sorted(found, key=lambda question: question.order)


def evidence_against(case: Case, names: Names, one: Departure) -> Iterator[str]:
    """Give what the log and the job say against a departure; none of it disproves it."""
    evidence, stage = case.evidence, one.stage + 1
    if one.kind in CARD_FAULTS:
        card = evidence.right(stage)
        if card is not None:
            yield screen("diagnose.against-written", card=card.number, time=card.time)
        checked = evidence.in_order(stage)
        if checked is not None:
            yield screen("diagnose.against-checked", stage=stage, time=checked.time)
    if one.kind is Kind.DISPLAY_OLD:
        software = case.job.displays[one.other].software
        if software is not None:
            yield screen(
                "diagnose.against-software",
                display=names.display(one.other),
                version=software.text,
            )
    for time, told in evidence.told:
        if one.stage >= 0 and told.stage == stage and told.result.value == "done":
            yield screen("diagnose.against-told-done", stage=stage, time=time)


def would_show(case: Case, one: Explanation, observed: Observed) -> list[tuple[Question, str]]:
    """Return what would surely be seen if it were so, and would not be if all were as planned."""
    planned = case.explainer.runs(())
    found = []
    for question in questions(case.scene):
        allowed = one.allowed(question)
        if question in observed or allowed is None or len(allowed) != 1:
            continue
        (answer,) = allowed
        if not any(fits(run, {question: answer}) for run in planned):
            found.append((question, answer))
    return found


# --- the next question


def question_lines(names: Names, diagnosis: Diagnosis) -> list[str]:
    """Return the observation that would best tell the explanations apart."""
    asked = diagnosis.asked
    if len(diagnosis.explained.explanations) < 2:
        return []
    if asked is None:
        return [screen("diagnose.no-question")]
    lines = [
        screen("diagnose.question"),
        screen("diagnose.question-line", question=names.question(asked.question)),
    ]
    is_card = asked.question.asked is Asked.CARD
    slug = "diagnose.question-card" if is_card else "diagnose.question-answer"
    lines += [
        screen(
            slug,
            answer=names.answer(asked.question, answer),
            left=left,
            typed=names.typed(asked.question, answer),
        )
        for answer, left in asked.answers
    ]
    return [*lines, screen("diagnose.ask-hint")]
