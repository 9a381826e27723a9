"""What a person reads: verdict, findings, plans, records; harmless whatever is on a card."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.digests import ContentDigests
from cardprep.errors import BadValueError
from cardprep.findings import KINDS, Finding, Verdict
from cardprep.images.recognise import Recogniser
from cardprep.inspection.card import inspect_card
from cardprep.inspection.model import InspectedFile, Inspection
from cardprep.job.outcome import Outcome, Result, Seen
from cardprep.job.step import LeaveOut, StageStep
from cardprep.job.visit import Display, Job, JobName, Unit, Vessel
from cardprep.job.written import written_card
from cardprep.layout.build import lay_out
from cardprep.medium.protocol import Identity, MediumKind
from cardprep.paper.card import (
    SHOWN_OF_A_KIND,
    card_lines,
    finding_lines,
    findings_lines,
    verdict_line,
)
from cardprep.paper.intake import taken_in_lines
from cardprep.paper.job import (
    announced_lines,
    cautions,
    opened_lines,
    planned_lines,
    written_lines,
)
from cardprep.paper.log import record_line, state_lines, traced_lines
from cardprep.paper.objects import (
    finding_object,
    judgement_object,
    layout_object,
    record_object,
    written_object,
)
from cardprep.rules.context import Context
from cardprep.rules.judge import Judgement, judge
from cardprep.shoplog.checkpoint import Checkpoint
from cardprep.shoplog.record import Record
from cardprep.shoplog.verify import LogState
from cardprep.terms import Version
from cardprep.texts.catalogue import finding as worded
from cardprep.texts.catalogue import screen, word
from cardprep.texts.findings import FINDINGS
from cardprep.texts.refusals import REFUSALS
from cardprep.texts.screens import FAMILIES
from tests.cards import MemorySectors
from tests.manifests import image_facts, manifest_of
from tests.rules.looked_at import APP, BOOT, MANIFEST, flipped
from tests.rules.whole import HEX, judged, with_stage, zipped
from tests.stages import laid_out_bytes, make_stage

HOSTILE = "a\x1b[2J\x07\u202ebin.exe\nUSE\u2028\ud800"


def harmless(line: str) -> bool:
    return not any(unicodedata.category(c)[0] in "CZ" and c != " " for c in line)


def judgements() -> Iterator[Judgement]:
    """Give the judgements of cards with one thing or another wrong."""
    app, boot = ("APP_430.BIN",), ("BOOT_310.BIN",)
    yield judged([(app, APP)])
    yield judged([(app, APP), (boot, BOOT)])
    yield judged([(app, APP), (("APP_417.BIN",), APP)])
    yield judged([(app, flipped(APP, 5))])
    yield judged([(app, APP[: 2 * 65536])])
    yield judged([(("OTHER.BIN",), APP), (("GONE.BIN",), b"gone" * 100)])
    yield judged([(("NEW.HEX",), HEX), (("A.ZIP",), zipped("a", b"b")), (("._APP_430.BIN",), b"")])
    yield judged([(app, b"<!DOCTYPE html>")])
    yield judged([(("Thumbs.db",), b"x")])
    yield judged([])
    yield judged([(app, APP)], None, untrusted="manifest.changed")
    yield with_stage([(boot, BOOT)], [(app, APP)])
    yield with_stage([(app, APP)], [(app, APP)])
    yield with_stage([(app, APP), (("OVD9.LOG",), b"x")], [(app, APP)])
    yield with_stage([(app, flipped(APP, 5))], [(app, APP)])


@pytest.mark.parametrize("width", [60, 80, 200])
def test_no_sentence_is_left_unfilled_and_no_line_is_too_long(width: int) -> None:
    for judgement in judgements():
        lines = card_lines(judgement, None, by_name=False, width=width)
        assert lines
        for line in lines:
            assert "{" not in line
            assert harmless(line)
            longest = max(len(part) for part in line.split())
            # What is indented may hold one word that is longer than the line.
            assert len(line) <= max(width, longest + 15) or line == lines[0], line
        for finding in judgement.findings:
            text = worded(finding.slug, finding.path, finding.structure, finding.parameters)
            for sentence in (text.seen, text.why, text.remedy):
                unfilled = [name for name in finding_names(finding.slug) if f"({name})" in sentence]
                assert not unfilled, sentence


def finding_names(slug: str) -> list[str]:
    text = FINDINGS[slug]
    joined = text.seen + text.why + text.remedy
    return [piece.split("}")[0] for piece in joined.split("{")[1:]]


def test_notes_are_short_and_the_rest_says_why_and_what_to_do() -> None:
    note = finding_lines(Finding("leftover", "Thumbs.db"), 80)
    assert len(note) == 1
    stop = "\n".join(finding_lines(Finding("name-twice", "A.BIN"), 80))
    assert "why:" in stop
    assert "do:" in stop


def test_of_one_kind_no_more_is_shown_than_a_person_reads() -> None:
    many = [Finding("unknown-file", f"{n}.BIN", None, {"size": n}) for n in range(500)]
    lines = findings_lines([*many, Finding("leftover", "Thumbs.db")], 80)
    assert sum("is not in the manifest" in line for line in lines) == SHOWN_OF_A_KIND
    assert any(f"{500 - SHOWN_OF_A_KIND} more" in line for line in lines)
    assert "Thumbs.db" in lines[-1]
    few = findings_lines(many[:SHOWN_OF_A_KIND], 80)
    assert not any("more" in line for line in few)


def test_every_kind_has_a_verdict_line_of_its_own() -> None:
    assert len({verdict_line(verdict) for verdict in Verdict}) == len(Verdict)
    for slug in KINDS:
        assert finding_lines(Finding(slug, "A.BIN", "FAT"), 80)


def hostile_judgement() -> Judgement:
    digests = ContentDigests()
    digests.update(b"x")
    recogniser = Recogniser()
    recogniser.feed(b"x")
    file = InspectedFile(
        volume=0,
        path=(HOSTILE, HOSTILE),
        short=HOSTILE,
        size=1,
        attributes=0,
        modified=None,
        extents=(),
        digests=digests.result(),
        container=recogniser.finish(),
    )
    inspection = Inspection(
        identity=Identity(name=HOSTILE, kind=MediumKind.FOLDER),
        content=None,
        files=(file,),
        folders=((HOSTILE,),),
        deleted=(),
        findings=(),
        past_the_cache=False,
        bytes_read=1,
    )
    return judge(Context(inspection=inspection, manifest=MANIFEST))


def test_hostile_names_reach_neither_terminal_nor_json() -> None:
    judgement = hostile_judgement()
    for line in card_lines(judgement, None, by_name=False, width=80):
        assert harmless(line), line
    printed = json.dumps(judgement_object(judgement, None, None), ensure_ascii=True)
    assert harmless(printed)
    assert "\\u202e" not in printed.replace("\\\\u202e", "")


def test_hostile_labels_reach_neither_terminal_nor_json() -> None:
    judgement = judged([(("APP_430.BIN",), APP)])
    content = judgement.inspection.content
    assert content is not None
    (volume,) = content.volumes
    labelled = replace(volume, facts=replace(volume.facts, label=HOSTILE))
    inspection = replace(judgement.inspection, content=replace(content, volumes=(labelled,)))
    hostile = replace(judgement, inspection=inspection)
    lines = card_lines(hostile, None, by_name=False, width=80)
    assert any("\\x1b[2J" in line for line in lines)
    for line in lines:
        assert harmless(line), line
    assert all(harmless(text) for text in texts(judgement_object(hostile, None, None)))


def texts(value: Any) -> Iterator[str]:  # noqa: ANN401 - whatever JSON holds
    """Give every string of a JSON value, keys included."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield key
            yield from texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from texts(inner)


def test_no_string_of_a_judgement_can_harm() -> None:
    for judgement in (*judgements(), hostile_judgement()):
        for text in texts(judgement_object(judgement, None, None)):
            assert harmless(text), text


def test_a_card_without_label_and_serial_number() -> None:
    judgement = judged([(("APP_430.BIN",), APP)])
    content = judgement.inspection.content
    assert content is not None
    (volume,) = content.volumes
    plain = replace(volume, facts=replace(volume.facts, label=None, serial=None))
    inspection = replace(judgement.inspection, content=replace(content, volumes=(plain,)))
    lines = card_lines(replace(judgement, inspection=inspection), None, by_name=False, width=80)
    assert "label none, serial none" in lines[1]
    assert "one file looked at" in lines


@settings(deadline=None, max_examples=200)
@given(st.text())
def test_any_name_is_harmless_in_a_finding(name: str) -> None:
    from cardprep.volume.model import shown_path

    for line in finding_lines(Finding("unknown-file", shown_path((name,))), 80):
        assert harmless(line)


def test_a_judgement_as_an_object() -> None:
    judgement = judged([(("APP_430.BIN",), APP), (("BOOT_310.BIN",), BOOT)])
    stage, _ = make_stage([(("A",), b"x")])
    made = json.loads(json.dumps(judgement_object(judgement, stage, None)))
    assert made["verdict"] == "do-not-use"
    assert made["stage"] == {"job": "B238", "number": 1}
    assert {file["path"] for file in made["files"]} == {"APP_430.BIN", "BOOT_310.BIN"}
    for finding in made["findings"]:
        assert finding["severity"] in ("stop", "caution", "note")
        assert finding["seen"]
        assert finding["why"]
        assert finding["remedy"]
    assert finding_object(Finding("leftover", "x"))["path"] == "x"


# --- jobs


JOB = Job(
    name=JobName("B", 238),
    vessel=Vessel(name="Saltwhistle"),
    display=Display(model="OV-D9"),
    units=(
        Unit(
            model="OV-V40",
            role="main radio",
            serial="0012",
            versions={"bootloader": None, "application": Version("4.17")},
            wanted={"application": Version("4.30")},
        ),
    ),
)


def test_a_job_that_was_opened() -> None:
    text = "\n".join(opened_lines(JOB))
    for part in ("B238", "Saltwhistle", "main radio", "OV-V40", "0012", "4.17", "4.30"):
        assert part in text
    assert f"bootloader: has {screen('words.unknown')}, stays as it is" in text
    assert "application: has 4.17, is to have 4.30" in text


def test_a_plan_says_its_cautions_and_each_card() -> None:
    stage, _ = make_stage([(("APP.BIN",), b"x" * 3_000_000)], number=2)
    layout = lay_out(stage)
    steps = (
        StageStep(
            unit=1,
            type="application",
            version=Version("4.30"),
            now=Version("4.17"),
            needed_by=None,
            minutes=(3, 8),
            read_at=None,
        ),
    )
    text = " ".join(" ".join(planned_lines(JOB, (layout,), (steps,), width=80)).split())
    for caution in cautions():
        assert caution in text
    for part in ("stage 2 of 2", "APPLICATION", "APP.BIN", "2.9 MiB", "write B238 2"):
        assert part in text
    assert "1 main radio, OV-V40, serial 0012: application 4.17 -> 4.30, 3 to 8 min" in text
    assert "because" not in text
    assert "no card is needed" in "\n".join(planned_lines(JOB, (), (), width=80))
    assert layout_object(layout, "0" * 64)["sha256"] == "0" * 64


def test_a_step_that_another_needs_and_that_may_be_done_already() -> None:
    stage, _ = make_stage([(("BOOT.BIN",), b"x")], number=1)
    step = StageStep(
        unit=1,
        type="bootloader",
        version=Version("3.10"),
        now=None,
        needed_by="application 4.30",
        minutes=(1, 1),
        read_at="first screen after power-on",
        leave_out=(
            LeaveOut(type="bootloader", handset=False, versions=(Version("3.10"),), or_later=True),
            LeaveOut(
                type="application",
                handset=True,
                versions=(Version("2.41"), Version("2.50")),
                or_later=False,
            ),
        ),
    )
    text = "\n".join(planned_lines(JOB, (lay_out(stage),), ((step,),), width=96))
    assert "bootloader unknown -> 3.10, 1 min as a rule" in text
    assert "because the application 4.30 needs it first" in text
    assert "if the unit shows bootloader 3.10 or later (first screen after power-on)" in text
    assert "if the handset shows application 2.41 or 2.50" in text
    assert StageStep.from_record(step.to_record(), "step") == step
    with pytest.raises(BadValueError):
        replace(step, minutes=(2, 1))


def test_what_is_said_before_and_after_writing() -> None:
    stage, source = make_stage([(("APP.BIN",), b"x")])
    layout = lay_out(stage)
    before = "\n".join(announced_lines(layout, "ab" * 32, 17, "card.img"))
    assert "ab" * 32 in before
    assert "card 17" in before
    assert str(layout.length) in before
    checkpoint = Checkpoint(bench="B", size=8, root=bytes(32))
    after = "\n".join(written_lines(layout, checkpoint.to_text(), "card.img"))
    assert f"head -c {layout.length} card.img | sha256sum" in after
    assert str(checkpoint.short()) in after
    spaced = "\n".join(written_lines(layout, checkpoint.to_text(), "my card.img"))
    assert f"head -c {layout.length} 'my card.img' | sha256sum" in spaced
    data = bytearray(layout.card_size)
    data[: layout.length] = laid_out_bytes(layout, source)
    judgement = judge(Context(inspection=inspect_card(MemorySectors(data)), stage=stage))
    told = card_lines(judgement, stage, by_name=True, width=80)
    assert any("its serial number says job B238" in line for line in told)
    named = card_lines(judgement, stage, by_name=False, width=80)
    assert any("held against job B238" in line for line in named)


def test_a_file_that_was_taken_in() -> None:
    image = image_facts("APP.BIN", b"x")
    container = Recogniser()
    container.feed(b"x")
    report = container.finish()
    first = "\n".join(taken_in_lines(image, report, on_shelf=False, in_manifest=False))
    assert image.sha256 in first
    assert "manifest sign" in first
    again = "\n".join(taken_in_lines(image, report, on_shelf=True, in_manifest=True))
    assert "already" in again
    assert "nothing was changed" in again
    assert manifest_of(image).images == (image,)


# --- the log


def record(kind: str, body: dict[str, object]) -> Record:
    return Record(
        bench="B",
        sequence=7,
        kind=kind,
        kind_version=1,
        time="2026-11-25T20:00:00Z",
        body=body,  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(
    ("made", "parts"),
    [
        pytest.param(
            record("write-ended", {"job": "B238", "stage": 1, "verdict": "use"}),
            ("B-7", "2026-11-25T20:00:00Z", "writing ended", "job B238", "stage 1", "USE"),
            id="a write",
        ),
        pytest.param(
            record("job-opened", {"job": JOB.to_record()}), ("B238", "Saltwhistle"), id="a job"
        ),
        pytest.param(
            record("of-a-newer-version", {"colour": "red"}), ("of-a-newer-version",), id="unknown"
        ),
        pytest.param(record("card-checked", {"job": None, "stage": True}), ("checked",), id="odd"),
        pytest.param(record("job-opened", {"job": {"vessel": "x"}}), ("job opened",), id="odder"),
        pytest.param(record("write-begun", {"label": "\x1b[2J"}), (r"\x1b[2J",), id="hostile"),
    ],
)
def test_a_record_on_one_line(made: Record, parts: tuple[str, ...]) -> None:
    line = record_line(made)
    assert harmless(line)
    for part in parts:
        assert part in line
    assert record_object(made)["sequence"] == 7


def test_what_was_traced() -> None:
    made = record("write-ended", {"job": "B238"})
    for field, value in (
        ("serial", "12AB-34CD"),
        ("card", "17"),
        ("job", "B238"),
        ("digest", "0" * 64),
    ):
        lines = traced(field, value, jobs=(JOB,), records=(made,))
        assert value in lines[0]
        assert any("Saltwhistle" in line for line in lines)
    same = traced("volume", "x", unchanged=True)
    other = traced("volume", "x", unchanged=False)
    assert same != other


def traced(field: str, value: str, **known: Any) -> list[str]:  # noqa: ANN401
    nothing: dict[str, Any] = {"jobs": (), "cards": (), "outcomes": (), "records": ()}
    given = {**nothing, "unchanged": None, "width": 200, **known}
    return traced_lines((field, value), **given)


def test_what_was_on_the_cards_and_what_came_of_it() -> None:
    begun: dict[str, Any] = {
        "job": "B238",
        "stage": 1,
        "card": 17,
        "label": "B238-1 BOOT",
        "target": "/x",
        "length": 4_580_864,
        "sha256": "ab" * 32,
        "files": [
            {
                "path": "BOOT\x1b.S37",
                "size": 9,
                "sha256": "cd" * 32,
                "type": "bootloader",
                "version": "3.10",
            },
            "rubbish",
        ],
    }
    done = written_card(7, "2026-11-25T20:00:00Z", begun, (8, {"outcome": "done"}))
    open_end = written_card(9, "2026-11-25T20:10:00Z", {**begun, "card": 18, "files": 5}, None)
    told = Outcome(
        job=JOB.name,
        result=Result.PART,
        stage=1,
        seen=(Seen(unit=1, versions={"application": Version("4.17")}),),
        note="the owner\nwas aboard",
    )
    lines = traced(
        "volume",
        "12AB-34CD",
        jobs=(JOB,),
        cards=(done, open_end),
        outcomes=(("2026-11-26T09:00:00Z", told),),
    )
    text = "\n".join(lines)
    for part in (
        *("several cards were written", "card 17, stage 1 (B238-1 BOOT)", "all bytes right"),
        *("BOOT\\x1b.S37", "bootloader 3.10", "cd" * 32, "ab" * 32, "4580864", "never ended"),
        *(
            "outcome, stage 1: done in part (2026-11-26T09:00:00Z)",
            "main radio shows application 4.17",
        ),
        "the owner was aboard",
    ):
        assert part in text, part
    assert harmless(text.replace("\n", ""))
    assert written_object(done)["files"] == [
        {
            "path": "BOOT\x1b.S37",
            "size": 9,
            "sha256": "cd" * 32,
            "type": "bootloader",
            "version": "3.10",
        }
    ]


def test_the_state_of_a_log() -> None:
    whole = LogState(bench="B", size=8, root=bytes(32), checkpoints=2, sealed=8)
    assert len(state_lines(whole)) == 2
    assert "newer" not in "".join(state_lines(whole))
    open_end = LogState(bench="B", size=9, root=bytes(32), checkpoints=2, sealed=8)
    assert state_lines(open_end)[-1].endswith("checkpoint: 1")


def test_words_of_slugs() -> None:
    assert word("fat.sector-size") == FAMILIES["fat."]
    assert word("fat.no-root") == REFUSALS["fat.no-root"].message
    assert word("uimage") != "uimage"
    assert word("anything else") == "anything else"
