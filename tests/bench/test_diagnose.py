"""What went wrong on board, found out at the bench: with a job, on the telephone, with cards."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from cardprep.bench.diagnose import Known, diagnose, open_case
from cardprep.bench.diagnose_told import Saw
from cardprep.bench.jobs import Visit
from cardprep.bench.open import Bench
from cardprep.bench.outcome import Told, record_outcome
from cardprep.bench.write import CardToWrite, announce, write_card
from cardprep.cli import words
from cardprep.cli.diagnose_words import card_of_stage, saw
from cardprep.errors import BadValueError, JobError, NoPlanError, ShopFolderError
from cardprep.job.outcome import Result
from cardprep.job.visit import Display, JobName, Vessel
from cardprep.layout.build import lay_out
from cardprep.progress import Cancel, Progress, silent
from cardprep.terms import Version
from cardprep.vessel.case import Case
from cardprep.vessel.departures import Kind
from cardprep.vessel.observe import Asked, Question

B1 = JobName("B", 1)


def quiet(what: str) -> Progress:
    del what
    return silent


def write(bench: Bench, stage: int, path: Path) -> Path:
    wanted = CardToWrite(job=B1, stage=stage, path=path, number=16 + stage)
    announced = announce(bench, wanted, silent, Cancel())
    write_card(bench, wanted, announced, quiet, Cancel())
    return path


def case(bench: Bench, *told: str, about: JobName | Visit = B1, cards: str = "") -> Case:
    known = Known(
        saw=tuple(map(saw, told)),
        cards=tuple(map(card_of_stage, cards.split(","))) if cards else (),
    )
    return open_case(bench, about, known, progress=silent, cancel=Cancel())


def kinds(found: Case) -> list[list[str]]:
    explanations = diagnose(found).explained.explanations
    return [[one.kind.value for one in some.departures] for some in explanations]


def visit(text: str) -> Visit:
    return Visit(
        vessel=Vessel(name="Saltwhistle"), display=Display(model="OV-D9"), units=(words.unit(text),)
    )


ON_THE_TELEPHONE = (
    "model=OV-V40; role=main radio; handset=none; has bootloader=3.02; has application=4.17;"
    "wants application=4.30"
)


def test_a_job_with_a_handset_left_behind(bench: Bench) -> None:
    found = case(bench, "main radio; state=running; application=4.30; handset=blank")
    assert found.was_planned
    assert kinds(found)[0] == ["handset-not-in-mode"]
    assert found.evidence.written == ()


def test_what_the_log_proves(bench: Bench, tmp_path: Path) -> None:
    write(bench, 1, tmp_path / "1.img")
    record_outcome(
        bench,
        B1,
        Told(result=Result.PART, seen=(("1", {"bootloader": Version("3.10")}),)),
    )
    found = case(bench)
    card = found.evidence.right(1)
    assert card is not None
    assert card.number == 17
    assert found.evidence.right(2) is None
    question = Question(Asked.VERSION, unit=0, slot=0)
    assert found.observed == {question: "3.10"}
    assert found.from_log == {question}
    # What is seen now counts more than what was seen then.
    assert case(bench, "1; bootloader=3.02").observed == {question: "3.02"}


def test_a_card_as_it_was_written(bench: Bench, tmp_path: Path) -> None:
    path = write(bench, 2, tmp_path / "2.img")
    found = case(bench, cards=f"2={path}")
    assert found.observed == {Question(Asked.CARD, stage=1): "right"}
    again = case(bench)
    assert again.evidence.in_order(2) is not None


def test_an_altered_card(bench: Bench, tmp_path: Path) -> None:
    path = write(bench, 2, tmp_path / "2.img")
    stage = case(bench).stages[1]
    data = bytearray(path.read_bytes())
    data[lay_out(stage).first_file_offset + 1000] ^= 0xFF
    path.write_bytes(data)
    found = case(bench, cards=f"2={path}")
    assert found.observed == {Question(Asked.CARD, stage=1): "altered"}
    assert kinds(found)[0] == ["card-altered"]


def test_cards_that_were_swapped_in_their_cases(bench: Bench, tmp_path: Path) -> None:
    path = write(bench, 1, tmp_path / "1.img")
    assert case(bench, cards=f"2={path}").observed == {Question(Asked.CARD, stage=1): "other"}


def test_a_card_that_cannot_be_read(bench: Bench, tmp_path: Path) -> None:
    path = tmp_path / "blank.img"
    path.write_bytes(bytes(1 << 20))
    assert case(bench, cards=f"1={path}").observed == {Question(Asked.CARD, stage=0): "unreadable"}


def test_on_the_telephone_without_a_job(bench: Bench) -> None:
    found = case(
        bench,
        "1; state=running; bootloader=3.02; application=4.17",
        "stage 2; shown=refused",
        "visit; went on=no; order=other",
        about=visit(ON_THE_TELEPHONE),
    )
    assert found.name is None
    assert not found.was_planned
    assert kinds(found)[0] == ["wrong-order"]


def test_on_the_telephone_with_a_card_at_hand(bench: Bench, tmp_path: Path) -> None:
    path = write(bench, 2, tmp_path / "2.img")
    on_telephone = visit(ON_THE_TELEPHONE)
    right = case(bench, about=on_telephone, cards=f"2={path}")
    assert right.observed == {Question(Asked.CARD, stage=1): "right"}
    other = case(bench, about=on_telephone, cards=f"1={path}")
    assert other.observed == {Question(Asked.CARD, stage=0): "other"}


def test_what_is_not_known_is_left_out(bench: Bench) -> None:
    assert case(bench, "1; state=unknown; application=don't know").observed == {}


def test_versions_are_one_whatever_their_spelling(bench: Bench) -> None:
    found = case(bench, "1; application=4.30.0; bootloader=3.07")
    assert sorted(found.observed.values()) == ["3.07", "4.30"]


@pytest.mark.parametrize(
    ("told", "reason"),
    [
        ("colour=red", "words.saw"),
        ("1", "words.saw"),
        ("1; state", "words.saw"),
        ("1; state=dark; state=dark", "words.twice"),
        ("1; colour=red", "diagnose.key"),
        ("1; state=red", "diagnose.answer"),
        ("1; application=banana", "outcome.version"),
        ("1; handset bootloader=1.0", "diagnose.key"),
        ("2; state=dark", "outcome.unit"),
        ("stage 3; card=right", "diagnose.stage"),
        ("stage one; card=right", "diagnose.stage"),
        ("stage 1; state=dark", "diagnose.key"),
        ("stage 1; shown 2=done", "outcome.unit"),
        ("display OV-D8; software=old", "diagnose.display"),
        ("display; state=dark", "diagnose.key"),
        ("visit; state=dark", "diagnose.key"),
    ],
)
def test_what_cannot_be_read(bench: Bench, told: str, reason: str) -> None:
    with pytest.raises((BadValueError, JobError)) as caught:
        case(bench, told)
    assert caught.value.reason == reason


def test_one_thing_told_in_two_ways(bench: Bench) -> None:
    with pytest.raises(BadValueError) as caught:
        case(bench, "1; state=dark", "main radio; state=running")
    assert caught.value.reason == "diagnose.twice"


def test_a_card_of_a_stage_that_there_is_not(bench: Bench) -> None:
    with pytest.raises(JobError) as caught:
        case(bench, cards="3=nowhere.img")
    assert caught.value.reason == "diagnose.stage"
    for text in ("1", "x=y", "1=", "=card.img"):
        with pytest.raises(BadValueError):
            card_of_stage(text)


def test_a_visit_for_which_nothing_is_to_be_done(bench: Bench) -> None:
    done = "model=OV-V40; role=main; handset=none; has application=4.30; wants application=4.30"
    with pytest.raises((JobError, NoPlanError)) as caught:
        case(bench, about=visit(done + "; has bootloader=3.10"))
    assert caught.value.reason == "diagnose.no-stages"


def with_commonness(bench: Bench, **numbers: int) -> Bench:
    own = {slug.replace("_", "-"): number for slug, number in numbers.items()}
    settings = replace(bench.shop.settings, commonness=own)
    return replace(bench, shop=replace(bench.shop, settings=settings))


def test_the_shop_sets_how_common_things_are(bench: Bench) -> None:
    found = diagnose(case(with_commonness(bench, card_pulled=900), "1; state=dark")).explained
    assert found.explanations[0].departures[0].kind is Kind.CARD_PULLED


@pytest.mark.parametrize("numbers", [{"card_pulled": 1000}, {"card_pulled": 0}, {"no_such": 3}])
def test_how_common_things_cannot_be(bench: Bench, numbers: dict[str, int]) -> None:
    with pytest.raises(ShopFolderError) as caught:
        case(with_commonness(bench, **numbers))
    assert caught.value.reason == "shop.settings-commonness"


def test_saw_is_a_value() -> None:
    assert saw("main radio; State=dark ; handset application = 2.41") == Saw(
        "main radio", (("state", "dark"), ("handset application", "2.41"))
    )
