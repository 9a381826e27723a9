"""A diagnosis as one object for ``--json``: stable slugs, and the same sentences beside them."""

from __future__ import annotations

from cardprep.canonical import Json
from cardprep.paper.diagnosis import evidence_against, evidence_for, how_sure, would_show
from cardprep.paper.diagnosis_names import Names
from cardprep.vessel.advice import Advised
from cardprep.vessel.case import Case, Diagnosis
from cardprep.vessel.departures import Departure
from cardprep.vessel.observe import Question


def diagnosis_object(case: Case, diagnosis: Diagnosis) -> Json:
    """Return a case with everything that follows from it. Numbers count from 1."""
    names = Names(case)
    explained = diagnosis.explained
    pairs = zip(explained.explanations, diagnosis.advices, strict=True)
    asked = diagnosis.asked
    return {
        "job": None if case.name is None else str(case.name),
        "vessel": case.job.vessel.name,
        "was_planned": case.was_planned,
        "stages": [stage.to_record() for stage in case.stages],
        "seen": [
            {**_question(names, question), "answer": answer, "typed": names.typed(question, answer)}
            for question, answer in diagnosis.observed.items()
        ],
        "explained": bool(explained.explanations),
        "whole": explained.whole,
        "departures_most": explained.most,
        "explanations": [
            {
                "departures": [_departure(names, departure) for departure in one.departures],
                "weight_per_million": round(one.weight * 1_000_000),
                "in_a_hundred": how_sure(one, explained.explanations),
                "for": [
                    _question(names, question)
                    for question in evidence_for(case, one, diagnosis.observed)
                ],
                "against": [
                    what
                    for departure in one.departures
                    for what in evidence_against(case, names, departure)
                ],
                "would_show": [
                    {**_question(names, question), "answer": answer}
                    for question, answer in would_show(case, one, diagnosis.observed)
                ],
                "harm": [_advised(names, said) for said in advice.harm],
                "next": [_advised(names, said) for said in advice.steps],
                "cautions": [_advised(names, said) for said in advice.cautions],
            }
            for one, advice in pairs
        ],
        "question": None
        if asked is None
        else {
            **_question(names, asked.question),
            "expected_left_in_thousandths": round(asked.expected * 1000),
            "answers": [
                {
                    "answer": answer,
                    "said": names.answer(asked.question, answer),
                    "typed": names.typed(asked.question, answer),
                    "left": left,
                }
                for answer, left in asked.answers
            ],
        },
    }


def _question(names: Names, question: Question) -> dict[str, Json]:
    return {
        "asked": question.asked.value,
        "stage": None if question.stage < 0 else question.stage + 1,
        "unit": None if question.unit < 0 else question.unit + 1,
        "question": names.question(question),
    }


def _departure(names: Names, one: Departure) -> Json:
    return {
        "slug": one.kind.value,
        "stage": None if one.stage < 0 else one.stage + 1,
        "unit": None if one.unit < 0 else one.unit + 1,
        "said": names.departure(one),
    }


def _advised(names: Names, said: Advised) -> Json:
    return {"slug": said.slug, "said": names.advised(said)}
