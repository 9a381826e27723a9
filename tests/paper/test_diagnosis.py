"""Every sentence of a diagnosis can be said, with all that it names filled in."""

from __future__ import annotations

import re
from string import Formatter

import pytest

from cardprep.bench.diagnose_told import Saw, told
from cardprep.job.outcome import Outcome, Result
from cardprep.job.visit import Display, Job, JobName
from cardprep.job.written import WrittenCard
from cardprep.manifest.model import Manifest
from cardprep.paper.diagnosis import diagnosis_lines
from cardprep.paper.diagnosis_names import Names
from cardprep.paper.diagnosis_object import diagnosis_object
from cardprep.paper.maker_summary import Sender, maker_lines
from cardprep.terms import Version
from cardprep.texts.diagnosis import ABOUT, ADVICE, ANSWERS_SAID, DEPARTURES, DIAGNOSIS, QUESTIONS
from cardprep.vessel.advice import Advised, advice
from cardprep.vessel.case import Case, CheckedCard, Diagnosis, Evidence
from cardprep.vessel.departures import COMMONNESS, Kind
from cardprep.vessel.explain import Explained, Explainer, Explanation
from cardprep.vessel.next_question import next_question
from cardprep.vessel.observe import Asked, Observed, Question, answers, questions
from cardprep.vessel.plan import plan
from cardprep.vessel.stages import stages_of
from tests.vessel.evenings import observed, radio, rows, scene, shelf
from tests.vessel.visits import job

NAMES = {name for text in DIAGNOSIS.values() for _, name, _, _ in Formatter().parse(text) if name}
# A name that was not filled in shows in brackets.
UNFILLED = re.compile(r"\((?:" + "|".join(sorted(NAMES)) + r")\)")
WRITTEN = WrittenCard(
    number=17,
    job="B238",
    stage=1,
    label="B238-1 BOOT",
    begun=1,
    ended=2,
    time="2026-11-25T20:00:00Z",
    outcome="done",
    verdict="use",
    length=1,
    sha256="0" * 64,
    target="card.img",
    files=(),
)
EVIDENCE = Evidence(
    written=(WRITTEN,),
    checked=(CheckedCard(stage=1, verdict="use", time="2026-11-25T21:00:00Z"),),
    told=(
        ("2026-11-26T09:00:00Z", Outcome(job=JobName("B", 238), result=Result.DONE, stage=1)),
        ("2026-11-26T10:00:00Z", Outcome(job=JobName("B", 238), result=Result.PART)),
    ),
)


def case_of(opened: Job, files: Manifest, told: Observed, *, is_job: bool = True) -> Case:
    planned = plan(opened, files)
    of = scene(opened, files)
    return Case(
        name=opened.name if is_job else None,
        job=opened,
        manifest=files,
        scene=of,
        rows=rows(planned),
        stages=stages_of(opened, planned, files),
        was_planned=is_job,
        evidence=EVIDENCE if is_job else Evidence(),
        explainer=Explainer(of),
        observed=told,
        from_log=frozenset(),
        looked_at=frozenset(),
    )


def diagnosed(case: Case) -> Diagnosis:
    explained = case.explainer.explain(case.observed)
    some = explained.explanations
    return Diagnosis(
        observed=case.observed,
        explained=explained,
        advices=tuple(advice(case.scene, case.job, case.manifest, o, case.observed) for o in some),
        asked=next_question(case.scene, some, case.observed),
    )


def evening_case(**seen: str) -> Case:
    opened = job(radio())
    return case_of(opened, shelf(), observed(scene(opened, shelf()), **seen))


def radios_case() -> Case:
    from dataclasses import replace

    spare = replace(radio(), wanted={}, companion="none", companion_versions={})
    return case_of(job(radio(handset="none"), spare), shelf(), {})


@pytest.mark.parametrize("case", [evening_case(), radios_case()], ids=["evening", "two radios"])
def test_every_departure_question_and_advice_has_its_sentence(case: Case) -> None:
    names = Names(case)
    said = [names.departure(one) for one in case.explainer.candidates]
    for question in questions(case.scene):
        said += [names.question(question), names.about(question)]
        for answer in answers(case.scene, question):
            said += [names.answer(question, answer), names.typed(question, answer)]
    for one in case.explainer.candidates:
        explanation = Explanation(departures=(one,), weight=1.0, runs=case.explainer.runs((one,)))
        found = advice(case.scene, case.job, case.manifest, explanation, {})
        said += [names.advised(a) for a in (*found.harm, *found.steps, *found.cautions)]
        assert found.harm
        assert found.steps
    assert [line for line in said if UNFILLED.search(line) or "  " in line] == []


def test_the_catalogue_has_what_there_is_and_no_more() -> None:
    kinds = {f"departure.{kind.value}" for kind in Kind}
    extra = {
        *("departure.other-card-image", "departure.power-lost-companion"),
        "departure.card-pulled-companion",
    }
    assert DEPARTURES.keys() == kinds | extra
    asked = {f"ask.{one.value.replace(' ', '-')}" for one in Asked} | {"ask.version-handset"}
    assert QUESTIONS.keys() == asked
    assert {slug.replace("about.", "ask.") for slug in ABOUT} == asked
    assert len(DIAGNOSIS) == sum(map(len, (DEPARTURES, QUESTIONS, ABOUT, ANSWERS_SAID, ADVICE))) + (
        len(DIAGNOSIS.keys() - {*DEPARTURES, *QUESTIONS, *ABOUT, *ANSWERS_SAID, *ADVICE})
    )
    assert COMMONNESS.keys() == set(Kind)


def test_what_is_typed_is_read_as_the_same_answer() -> None:
    for case in (evening_case(), radios_case()):
        names = Names(case)
        for question in questions(case.scene):
            for answer in answers(case.scene, question):
                who, _, rest = names.typed(question, answer).partition("; ")
                key, _, value = rest.partition("=")
                assert told(case.scene, case.job, (Saw(who, ((key, value),)),)) == {
                    question: answer
                }


def test_lines_of_a_dark_radio() -> None:
    case = evening_case(state="dark")
    lines = "\n".join(diagnosis_lines(case, diagnosed(case)))
    assert not UNFILLED.search(lines)
    assert "card 17, stage 1, left the bench written and read back, all bytes right" in lines
    assert "no card of stage 2 was written at this bench" in lines
    assert "13 explanations, the smallest first, then the most common:" in lines
    assert "harm is possible" in lines
    assert "leave the supply on and load nothing" in lines
    assert "against it: card 17 left the bench with all bytes right" in lines
    assert "what would best tell them apart:" in lines
    assert "A dark unit can have causes that no card explains" in lines


def test_lines_of_a_handset_left_behind() -> None:
    case = evening_case(
        state="running", boot="3.10", app="4.30", handset="blank", interrupted2="no"
    )
    lines = "\n".join(diagnosis_lines(case, diagnosed(case)))
    assert "A handset left behind has a blank screen, on and off: that damages nothing." in lines
    assert "with the handset in its programming mode before the step begins" in lines
    assert "prove the handset of the main off by the maker's own sign" in lines.replace(
        "main radio", "main"
    )
    assert "the alert key may be among the keys" in lines
    assert "another means of calling ready" in lines


def test_nothing_explains_it_is_said_plainly() -> None:
    case = evening_case(state="dark", put_in1="not", put_in2="not")
    lines = "\n".join(diagnosis_lines(case, diagnosed(case)))
    assert "Nothing in the model explains what is seen." in lines
    assert "A dark unit can have causes that no card explains" in lines


def test_no_harm_is_said_only_after_the_old_version_was_seen_running() -> None:
    case = evening_case(shown2="refused", order="other")
    lines = "\n".join(diagnosis_lines(case, diagnosed(case)))
    assert "Say so only after the main radio was seen running" in lines
    seen = evening_case(
        shown2="refused", order="other", state="running", boot="3.02", app="4.17", went_on="no"
    )
    first = diagnosed(seen).advices[0]
    assert first.harm == (Advised("harm.none"),)


def test_with_nothing_told_it_asks_for_what_is_seen() -> None:
    case = evening_case()
    lines = "\n".join(diagnosis_lines(case, diagnosed(case)))
    assert "nothing was told yet" in lines
    assert "harm:" not in lines


def test_not_every_set_was_tried() -> None:
    case = evening_case(state="dark")
    found = diagnosed(case)
    part = Explained(explanations=found.explained.explanations, whole=False, most=3)
    broken = Diagnosis(
        observed=found.observed, explained=part, advices=found.advices, asked=found.asked
    )
    assert "not every set of 3 was tried" in "\n".join(diagnosis_lines(case, broken))


def test_the_object_is_plain_and_whole() -> None:
    case = evening_case(state="dark")
    found = diagnosis_object(case, diagnosed(case))
    assert isinstance(found, dict)
    explanations = found["explanations"]
    assert isinstance(explanations, list)
    assert len(explanations) == 13
    assert found["job"] == "B238"
    first = explanations[0]
    assert isinstance(first, dict)
    assert first["departures"] == [
        {
            "slug": "wrong-order",
            "stage": 1,
            "unit": None,
            "said": "card 1 (bootloader) and card 2 (application) were put in the wrong way round",
        }
    ]


def test_the_summary_for_the_maker() -> None:
    case = evening_case(state="running", app="4.30", handset="blank")
    sender = Sender(shop="Gannet Slip", operator="R. Tarn", time="2026-11-26", version="0")
    text = "\n".join(maker_lines(case, diagnosed(case), sender))
    assert not UNFILLED.search(text)
    assert "sha256 " + case.stages[0].files[0].sha256 in text
    assert "before 4.17, wanted 4.30, now 4.30" in text
    assert "how sure: about " in text
    assert "Saltwhistle" in text
    assert "MMSI" not in text


def test_a_second_display_is_named() -> None:
    opened = job(radio())
    from dataclasses import replace

    opened = replace(opened, display=Display(model="OV-D9", software=Version("2.1")))
    case = case_of(opened, shelf(), {Question(Asked.SOFTWARE, display=0): "old"})
    lines = "\n".join(diagnosis_lines(case, diagnosed(case)))
    assert "the OV-D9 was noted with software 2.1" in lines
    assert "Bring the software of the OV-D9 up to date" in lines


def test_without_a_job_nothing_is_said_of_the_log() -> None:
    opened = job(radio())
    case = case_of(opened, shelf(), {}, is_job=False)
    lines = "\n".join(diagnosis_lines(case, diagnosed(case)))
    assert "no job of ours" in lines
    assert "log proves" not in lines
