"""Two vans of one shop work offline at the same time, and nothing of theirs collides.

The shop and its files are the demonstration's, which are invented.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest

from cardprep.bench.check import check_card
from cardprep.bench.intake import take_in
from cardprep.bench.jobs import Visit, find_plan, open_job, plan_job
from cardprep.bench.open import Bench, Place, new_shop, open_bench
from cardprep.bench.prove import verify
from cardprep.bench.sign import sign_manifest
from cardprep.bench.trace import trace
from cardprep.bench.write import CardToWrite, announce, write_card
from cardprep.cli import words
from cardprep.findings import Verdict
from cardprep.job.visit import Display, JobName, Vessel
from cardprep.layout.build import lay_out
from cardprep.progress import Cancel, silent
from cardprep.shoplog.checkpoint import parse_checkpoint
from cardprep.sshsig import PrivateKey
from scripts.demo_files import DISPLAYS_AND_MODELS, write_files
from tests.bench.conftest import app_facts, boot_facts

UNIT = "model=OV-V40; role=main radio; handset=none; wants application=4.30"
JOBS = 3


@dataclass(frozen=True)
class Van:
    """A van's own laptop: shop folder, settings, and the cards that it wrote."""

    bench: Bench
    cards: tuple[Path, ...]


def work_an_evening(stack: ExitStack, folder: Path, letter: str, key: PrivateKey) -> Van:
    """Open the same jobs for the same vessel under the same card numbers, without a network."""
    folder.mkdir()
    place = Place(
        shop=folder / "shop",
        settings=folder / "settings",
        agent_socket=None,
        version="test",
        # The vans' clocks agree to the second, which is the worst that can happen.
        clock=lambda: "2026-11-25T20:00:00Z",
    )
    new_shop(place, name="Gannet Slip", bench=letter, operator="R. Tarn", key=key)
    manifest = place.shop / "manifest.toml"
    manifest.write_text(manifest.read_text("utf-8") + DISPLAYS_AND_MODELS, "utf-8")
    files = write_files(folder / "downloads")
    with open_bench(place, "test") as bench:
        for path, facts in zip(files, (boot_facts(), app_facts()), strict=True):
            take_in(bench, path, facts, silent, Cancel())
        sign_manifest(bench)
    bench = stack.enter_context(open_bench(place, "test"))
    cards = []
    for number in range(1, JOBS + 1):
        visit = Visit(
            vessel=Vessel(name="Saltwhistle"),
            display=Display(model="OV-D9"),
            units=(words.unit(UNIT),),
        )
        job = open_job(bench, visit).job.name
        plan_job(bench, job)
        path = folder / f"card-{number}.img"
        wanted = CardToWrite(job=job, stage=1, path=path, number=number)
        write_card(
            bench, wanted, announce(bench, wanted, silent, Cancel()), lambda _: silent, Cancel()
        )
        cards.append(path)
    return Van(bench, tuple(cards))


@pytest.fixture(scope="module")
def vans(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Van, Van]]:
    folder = tmp_path_factory.mktemp("vans")
    # One shop, one key on both laptops: the letter alone tells them apart.
    key = PrivateKey(bytes(range(32)))
    with ExitStack() as stack:
        yield (
            work_an_evening(stack, folder / "b", "B", key),
            work_an_evening(stack, folder / "c", "C", key),
        )


def names(van: Van) -> set[str]:
    letter = van.bench.shop.settings.bench
    return {str(JobName(letter, number)) for number in range(1, JOBS + 1)}


def test_job_names_do_not_collide(vans: tuple[Van, Van]) -> None:
    b, c = vans
    assert names(b) == {"B1", "B2", "B3"}
    assert names(c) == {"C1", "C2", "C3"}
    for van in vans:
        for name in names(van):
            assert find_plan(van.bench, JobName.parse(name)).stages


def layouts(van: Van) -> list[tuple[str, str]]:
    plans = [find_plan(van.bench, JobName.parse(name)) for name in sorted(names(van))]
    found = [lay_out(stage) for plan in plans for stage in plan.stages]
    return [(layout.label, layout.serial_text) for layout in found]


def test_labels_and_serial_numbers_do_not_collide(vans: tuple[Van, Van]) -> None:
    both = layouts(vans[0]) + layouts(vans[1])
    assert len({label for label, _ in both}) == len(both) == 4 * JOBS
    assert len({serial for _, serial in both}) == len(both)


def test_records_do_not_collide(vans: tuple[Van, Van]) -> None:
    records = [record for van in vans for record in van.bench.log.records()]
    assert len({(record.bench, record.sequence) for record in records}) == len(records)
    lines = [line for van in vans for line in van.bench.log.lines()]
    # Same work, same second, same key: still no two lines are the same.
    assert len(set(lines)) == len(lines)
    assert {json.loads(line)["bench"] for line in lines} == {"B", "C"}
    shorts = [
        str(parse_checkpoint(signed.text).short())
        for van in vans
        for signed in van.bench.log.checkpoints()
    ]
    assert len(set(shorts)) == len(shorts) == 2 * JOBS
    for van in vans:
        verify(van.bench)


def test_each_van_knows_its_own_cards_and_not_the_others(vans: tuple[Van, Van]) -> None:
    for here, there in (vans, vans[::-1]):
        for card in here.cards:
            checked = check_card(here.bench, card, progress=silent, cancel=Cancel())
            assert checked.judgement.verdict is Verdict.USE
            assert {written.job for written in trace(here.bench, str(card)).cards} < names(here)
            strange = check_card(there.bench, card, progress=silent, cancel=Cancel())
            assert strange.stage is None
            assert strange.cards == ()
            # The bytes are those of the other van's shelf too, so they are known there.
            assert "matches" in {finding.slug for finding in strange.judgement.findings}
