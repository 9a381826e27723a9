"""Cards that were erased file by file still show what was on them, and no more than that.

Row 42 of why card-based updates fail: a card from an earlier job that was not wiped
(common practice, no published source).

Judge: mtools, which deletes.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from cardprep.bench.check import Checked, check_card
from cardprep.bench.inspect import inspect
from cardprep.bench.open import Bench
from cardprep.bench.trace import trace
from cardprep.bench.write import CardToWrite, announce, write_card
from cardprep.errors import JobError
from cardprep.findings import Finding, Verdict
from cardprep.job.visit import JobName
from cardprep.progress import Cancel, silent
from cardprep.volume.model import Left
from scripts.demo_files import application
from tests.cards import run

pytestmark = pytest.mark.oracle

B1 = JobName("B", 1)
APP = application().content
NAME = application().name


def write(bench: Bench, path: Path, stage: int, number: int) -> Path:
    to_write = CardToWrite(job=B1, stage=stage, path=path, number=number)
    write_card(
        bench, to_write, announce(bench, to_write, silent, Cancel()), lambda _: silent, Cancel()
    )
    return path


@pytest.fixture
def erased(bench: Bench, tmp_path: Path) -> Path:
    """Write the card of stage 2, and delete its file as a file manager does."""
    path = write(bench, tmp_path / "card-18.img", 2, 18)
    run("mdel", "-i", f"{path}@@4M", f"::/{NAME}")
    return path


def check(bench: Bench, path: Path, *, deleted: bool) -> Checked:
    return check_card(bench, path, deleted=deleted, progress=silent, cancel=Cancel())


def of_deleted(checked: Checked) -> list[Finding]:
    return [one for one in checked.judgement.findings if one.slug.startswith("deleted")]


def test_the_name_of_an_erased_image_is_told_at_once(bench: Bench, erased: Path) -> None:
    listed, named = of_deleted(check(bench, erased, deleted=False))
    assert (listed.slug, listed.parameters["names"]) == ("deleted-entries", NAME)
    assert (named.slug, named.path) == ("deleted-image-name", NAME)
    assert named.parameters["how"] == "deleted-same-size"


def test_on_request_its_content_is_matched(bench: Bench, erased: Path) -> None:
    checked = check(bench, erased, deleted=True)
    (_, found) = of_deleted(checked)
    assert (found.slug, found.path) == ("deleted-image", NAME)
    assert (found.parameters["type"], found.parameters["version"]) == ("application", "4.30")
    inspection = checked.judgement.inspection
    (content,) = inspection.deleted_content
    assert content.digests is not None
    assert content.digests.sha256 == hashlib.sha256(APP).hexdigest()
    # What is deleted is not on the card: nothing of it makes the card any better.
    assert inspection.files == ()
    assert checked.judgement.verdict is Verdict.DO_NOT_USE
    assert "matches" not in {finding.slug for finding in checked.judgement.findings}


def test_the_record_tells_of_it(bench: Bench, erased: Path) -> None:
    check(bench, erased, deleted=True)
    findings = bench.log.find("job", str(B1))[-1].body["findings"]
    assert isinstance(findings, list)
    assert "deleted-image" in str(findings)


def test_a_card_that_was_partly_used_again(bench: Bench, erased: Path, tmp_path: Path) -> None:
    # The new file takes the first free clusters, where the deleted one began.
    new = tmp_path / "NEW.BIN"
    new.write_bytes(b"n" * 100_000)
    run("mcopy", "-i", f"{erased}@@4M", new, "::/")
    (_, found) = of_deleted(check(bench, erased, deleted=True))
    # It also takes an entry of the deleted name, and with it the end of that.
    assert found.path == f"{NAME[:13]}?"
    assert found.parameters["by"] == "deleted-name-cut"
    assert found.slug == "deleted-image-name"
    assert found.parameters["what"] == f"left-{Left.IN_USE}"


def test_blocks_of_an_image_whose_end_was_used_again(bench: Bench, erased: Path) -> None:
    inspection = inspect(erased, deleted=True, progress=silent, cancel=Cancel())
    (where,) = inspection.deleted[0].guesses
    with erased.open("r+b") as file:
        file.seek(where.offset + 20 * 65536 + 7)
        file.write(b"other content of another file")
    (_, found) = of_deleted(check(bench, erased, deleted=True))
    assert found.slug == "deleted-image-part"
    blocks = -(-len(APP) // 65536)
    assert (found.parameters["same"], found.parameters["of"]) == (blocks - 1, blocks)
    assert found.parameters["where"] == "where-some-blocks"


def test_a_card_that_is_prepared_anew_keeps_nothing_of_it(bench: Bench, erased: Path) -> None:
    write(bench, erased, 2, 18)
    checked = check(bench, erased, deleted=True)
    assert checked.judgement.inspection.deleted == ()
    assert of_deleted(checked) == []
    assert checked.judgement.verdict is Verdict.USE


def test_trace_of_such_a_card_is_as_ever(bench: Bench, erased: Path) -> None:
    traced = trace(bench, str(erased))
    assert [card.number for card in traced.cards] == [18]


def test_without_a_shop_the_content_is_looked_for_too(erased: Path) -> None:
    refusal = JobError("job.none")
    checked = check_card(refusal, erased, deleted=True, progress=silent, cancel=Cancel())
    assert [one.slug for one in of_deleted(checked)] == ["deleted-entries"]
    (content,) = checked.judgement.inspection.deleted_content
    assert content.digests is not None
    assert content.digests.sha256 == hashlib.sha256(APP).hexdigest()


def test_a_mounted_folder_has_none(bench: Bench, tmp_path: Path) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    checked = check(bench, folder, deleted=True)
    assert checked.judgement.inspection.deleted_content == ()
    assert inspect(folder, deleted=True, progress=silent, cancel=Cancel()).deleted == ()
