"""The report: soundness, a bounded list of problems, texts that do no harm."""

from __future__ import annotations

import pytest

from cardprep.images.report import (
    PROBLEM_LIMIT,
    ContainerReport,
    Problem,
    Soundness,
    Troubles,
    harmless,
)


def test_without_problems_it_holds_only_if_checksums_cover_the_contents() -> None:
    assert Troubles().report("uimage", {}).soundness is Soundness.HOLDS
    assert Troubles().report("tar", {}, covered=False).soundness is Soundness.UNCHECKED


@pytest.mark.parametrize(
    ("met", "soundness"),
    [
        pytest.param(["noted"], Soundness.HOLDS, id="noted only"),
        pytest.param(["unchecked", "noted"], Soundness.UNCHECKED, id="part unchecked"),
        pytest.param(["broken", "unchecked"], Soundness.BROKEN, id="broken, then unchecked"),
        pytest.param(["unchecked", "broken"], Soundness.BROKEN, id="unchecked, then broken"),
    ],
)
def test_the_worst_problem_decides(met: list[str], soundness: Soundness) -> None:
    troubles = Troubles()
    for verb in met:
        getattr(troubles, verb)("record.mark", line=1)
    report = troubles.report("intel-hex", {})
    assert report.soundness is soundness
    assert report.problems == (Problem("record.mark", {"line": 1}),) * len(met)


def test_broken_stays_broken_where_nothing_is_covered() -> None:
    troubles = Troubles()
    troubles.broken("tar.no-end")
    assert troubles.report("tar", {}, covered=False).soundness is Soundness.BROKEN


def test_the_list_of_problems_is_bounded_and_says_how_many_are_left_out() -> None:
    troubles = Troubles()
    for line in range(PROBLEM_LIMIT + 5):
        troubles.noted("record.wraps", line=line)
    troubles.broken("record.no-end", lines=1)
    report = troubles.report("intel-hex", {})
    assert len(report.problems) == PROBLEM_LIMIT + 1
    assert report.problems[-1] == Problem("more-problems", {"count": 6})
    assert report.soundness is Soundness.BROKEN


def test_a_report_has_no_truth_value_of_its_own() -> None:
    assert "__bool__" not in vars(ContainerReport)
    assert "__len__" not in vars(ContainerReport)


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        pytest.param(b"bench sample", "bench sample", id="plain"),
        pytest.param("Möwe".encode(), "Möwe", id="UTF-8"),
        pytest.param(b"a\x1b[2Jb", r"a\x1b[2Jb", id="terminal control"),
        pytest.param("a\u202eb".encode(), r"a\u202eb", id="turned direction"),
        pytest.param(b"a\xffb", r"a\udcffb", id="not UTF-8"),
        pytest.param(b"x" * 80, "x" * 80, id="longest"),
        pytest.param(b"x" * 81, "x" * 80 + "...", id="shortened"),
        pytest.param("\U0001f6a2".encode() * 90, "\U0001f6a2" * 80 + "...", id="four bytes each"),
    ],
)
def test_texts_out_of_a_file_do_no_harm(raw: bytes, text: str) -> None:
    assert harmless(raw) == text
