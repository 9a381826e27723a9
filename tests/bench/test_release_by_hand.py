"""Findings that a person overrules in writing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from cardprep.bench.check import Checked, Wanted, check_card
from cardprep.bench.open import Bench, bench_or_none
from cardprep.bench.release_by_hand import Release
from cardprep.bench.trace import trace
from cardprep.errors import BadValueError, CardprepError, ReleaseError
from cardprep.findings import KINDS, Severity, Verdict
from cardprep.job.visit import JobName
from cardprep.progress import Cancel, silent
from cardprep.terms import APPLICATION, BOOTLOADER
from scripts.demo import make_card
from scripts.demo_files import application, bootloader

B1 = JobName("B", 1)


def release(*slugs: str) -> Release:
    return Release(slugs=slugs, reason="the old one is dead", authority="T-1180", name="R. Tarn")


def check(
    bench: Bench | CardprepError,
    path: Path,
    by_hand: Release | None = None,
    job: JobName | None = None,
) -> Checked:
    wanted = Wanted(job=job)
    return check_card(bench, path, wanted=wanted, release=by_hand, progress=silent, cancel=Cancel())


@pytest.fixture
def mixed(tmp_path: Path) -> Path:
    boot, app = bootloader(), application()
    path = tmp_path / "mixed.img"
    make_card(path, ((boot.name, boot.content, BOOTLOADER), (app.name, app.content, APPLICATION)))
    return path


@pytest.fixture
def newer(tmp_path: Path) -> Path:
    path = tmp_path / "newer.img"
    make_card(path, (("OVV40_APP_431.img", b"\x27" + application().content, APPLICATION),))
    return path


def test_a_released_stop_is_used_with_care_and_stays_in_the_log(bench: Bench, mixed: Path) -> None:
    assert check(bench, mixed).judgement.verdict is Verdict.DO_NOT_USE
    checked = check(bench, mixed, release("mixed-types"))
    assert checked.judgement.verdict is Verdict.USE_WITH_CARE
    (finding,) = [f for f in checked.judgement.findings if f.slug == "mixed-types"]
    assert finding.released
    assert finding.severity is Severity.CAUTION
    # It holds for the same content from now on, and is shown with it.
    again = check(bench, mixed)
    assert again.judgement.verdict is Verdict.USE_WITH_CARE
    (shown,) = again.releases
    assert (shown.reason, shown.authority, shown.name) == (
        "the old one is dead",
        "T-1180",
        "R. Tarn",
    )
    assert shown.record.startswith("B-")
    kinds = [record.kind for record in bench.log.records()]
    assert kinds.count("released-by-hand") == 1


def test_another_content_is_another_card(bench: Bench, mixed: Path) -> None:
    (file,) = [
        f
        for f in check(bench, mixed, release("mixed-types")).judgement.inspection.files
        if f.size > 10**6
    ]
    with mixed.open("r+b") as card:
        card.seek(file.extents[0].offset + 100_000)
        byte = card.read(1)[0]
        card.seek(-1, 1)
        card.write(bytes((byte ^ 0xFF,)))
    checked = check(bench, mixed)
    assert checked.judgement.verdict is Verdict.DO_NOT_USE
    assert checked.releases == ()


def test_another_job_is_another_matter(bench: Bench, mixed: Path) -> None:
    check(bench, mixed, release("mixed-types"), B1)
    assert check(bench, mixed).judgement.verdict is Verdict.DO_NOT_USE
    assert check(bench, mixed, job=B1).judgement.verdict is Verdict.USE_WITH_CARE
    assert any(r.kind == "released-by-hand" for r in trace(bench, "B1").records)


def test_a_file_that_support_sent_this_evening(bench: Bench, newer: Path) -> None:
    assert check(bench, newer).judgement.verdict is Verdict.CANNOT_SAY
    one = check(bench, newer, release("newer-than-shelf"))
    assert one.judgement.verdict is Verdict.CANNOT_SAY
    both = check(bench, newer, release("newer-than-shelf", "no-image"))
    assert both.judgement.verdict is Verdict.USE_WITH_CARE


@pytest.mark.parametrize(
    ("slug", "reason"),
    [
        pytest.param("altered", "release.never", id="altered bytes"),
        pytest.param("not-for-these-units", "release.never", id="another model"),
        pytest.param("matches", "release.never", id="a note"),
        pytest.param("withdrawn", "release.not-found", id="not on this card"),
        pytest.param("no such \x1b[2J", "release.unknown", id="no finding at all"),
    ],
)
def test_what_is_not_released(bench: Bench, mixed: Path, slug: str, reason: str) -> None:
    before = len(list(bench.log.records()))
    with pytest.raises(ReleaseError) as caught:
        check(bench, mixed, release(slug))
    assert caught.value.reason == reason
    assert len(list(bench.log.records())) == before


def test_what_may_never_be_released() -> None:
    """Altered, damaged, cut short, for another model, or unreadable is no matter of opinion."""
    never = {
        *("altered", "cut-short", "not-for-these-units", "container-broken", "other-card"),
        *("content-differs-from-stage", "read-back-differs", "stage-file-missing", "read-error"),
        *("manifest-untrusted", "chain-crossed", "chain-broken", "container-contradicts"),
    }
    assert not any(KINDS[slug].releasable for slug in never)


def test_without_a_shop_nobody_releases_anything(bench: Bench, mixed: Path, tmp_path: Path) -> None:
    nobody = bench_or_none(replace(bench.place, shop=tmp_path / "no shop"))
    with pytest.raises(CardprepError):
        check(nobody, mixed, release("mixed-types"))


@pytest.mark.parametrize("empty", [0, 1, 2])
def test_a_release_has_a_reason_an_authority_and_a_name(empty: int) -> None:
    texts = ["why", "T-1", "R. Tarn"]
    texts[empty] = " "
    with pytest.raises(BadValueError):
        Release(slugs=("mixed-types",), reason=texts[0], authority=texts[1], name=texts[2])


def test_a_release_of_nothing() -> None:
    with pytest.raises(BadValueError):
        release()
