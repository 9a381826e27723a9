"""Writing in one ascending pass, and reading back what the medium really holds."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from cardprep.errors import ShelfError, StoppedError, WriteFailedError
from cardprep.findings import Verdict
from cardprep.layout.build import lay_out
from cardprep.layout.model import Layout
from cardprep.progress import Cancel, silent
from cardprep.rules.context import Context
from cardprep.rules.judge import judge
from cardprep.terms import MIB
from cardprep.write import put as put_module
from cardprep.write.guard import Permission, WritableCard, open_for_writing
from cardprep.write.put import ReadBack, put, read_back
from tests.manifests import manifest_for
from tests.stages import Memory, laid_out_bytes, make_stage

CONTENT = bytes(range(256)) * (5 * 4096)


@pytest.fixture
def stage() -> tuple[Layout, Memory]:
    stage, source = make_stage(
        [(("LARGE.BIN",), CONTENT), (("small.bin",), b"small")], volume_size=64 * MIB
    )
    return lay_out(stage), source


def opened(tmp_path: Path, stage: tuple[Layout, Memory]) -> WritableCard:
    layout, source = stage
    return open_for_writing(tmp_path / "card.img", layout, Permission(), source)


def verdict(layout: Layout, source: Memory, back: ReadBack) -> Verdict:
    return judge(
        Context(
            inspection=back.inspection,
            manifest=manifest_for(layout.stage, source),
            stage=layout.stage,
            compared=back.compared,
            read_back=True,
        )
    ).verdict


def test_what_is_put_is_read_back(tmp_path: Path, stage: tuple[Layout, Memory]) -> None:
    layout, source = stage
    told: list[tuple[int, int]] = []
    with opened(tmp_path, stage) as card:
        put(card, layout, source, lambda done, total: told.append((done, total)), Cancel())
        back = read_back(card, layout, silent, Cancel())
    assert back.compared.complete
    assert back.compared.differences == ()
    assert verdict(layout, source, back) is Verdict.USE
    assert told == sorted(told)
    assert told[-1] == (layout.length, layout.length)
    with (tmp_path / "card.img").open("rb") as file:
        assert file.read(layout.length) == laid_out_bytes(layout, source)
        assert not any(file.read())


def test_writes_ascend_and_are_large(
    tmp_path: Path, stage: tuple[Layout, Memory], monkeypatch: pytest.MonkeyPatch
) -> None:
    layout, source = stage
    written: list[tuple[int, int]] = []
    real = os.pwrite

    def watched(descriptor: int, data: memoryview, offset: int) -> int:
        written.append((offset, len(data)))
        return real(descriptor, data, offset)

    monkeypatch.setattr(os, "pwrite", watched)
    with opened(tmp_path, stage) as card:
        put(card, layout, source, silent, Cancel())
    at = 0
    for offset, length in written:
        assert offset == at
        at += length
    assert at == layout.length
    assert all(length == 4 * MIB for _, length in written[:-1])


def test_past_the_cache_is_said_truly(
    tmp_path: Path, stage: tuple[Layout, Memory], monkeypatch: pytest.MonkeyPatch
) -> None:
    layout, source = stage
    with opened(tmp_path, stage) as card:
        put(card, layout, source, silent, Cancel())
        assert read_back(card, layout, silent, Cancel()).inspection.past_the_cache

    def no_direct_reads(*_: object) -> int:
        raise OSError(22, "Invalid argument")

    for dropped in (True, False):
        with monkeypatch.context() as patch:
            patch.setattr("cardprep.write.put._dropped", lambda *_, dropped=dropped: dropped)
            patch.setattr("cardprep.write.put._direct_read", no_direct_reads)
            with opened(tmp_path, stage) as card:
                put(card, layout, source, silent, Cancel())
                back = read_back(card, layout, silent, Cancel())
        assert back.inspection.past_the_cache is dropped
        slugs = {
            finding.slug
            for finding in judge(Context(inspection=back.inspection, read_back=True)).findings
        }
        assert ("read-from-file" in slugs) is not dropped
    with monkeypatch.context() as patch:
        patch.setattr(put_module, "DIRECT", 0)
        with opened(tmp_path, stage) as card:
            assert not read_back(card, layout, silent, Cancel()).inspection.past_the_cache


def test_what_the_system_remembers_is_found_out(
    tmp_path: Path, stage: tuple[Layout, Memory], monkeypatch: pytest.MonkeyPatch
) -> None:
    layout, source = stage
    with opened(tmp_path, stage) as card:
        put(card, layout, source, silent, Cancel())
        assert put_module._dropped(card.descriptor, layout)
        # Read again through the cache, it is remembered, and that is noticed.
        (tmp_path / "card.img").read_bytes()
        monkeypatch.setattr(os, "posix_fadvise", lambda *_: None)
        assert not put_module._dropped(card.descriptor, layout)
        with monkeypatch.context() as patch:
            patch.delattr(os, "RWF_NOWAIT")
            assert not put_module._dropped(card.descriptor, layout)

        def failing(*_: object) -> int:
            raise OSError(95, "Operation not supported")

        monkeypatch.setattr(os, "preadv", failing)
        assert not put_module._dropped(card.descriptor, layout)


def test_stopping_leaves_a_card_that_is_not_good(
    tmp_path: Path, stage: tuple[Layout, Memory]
) -> None:
    layout, source = stage
    cancel = Cancel()

    def after_the_first_block(done: int, total: int, /) -> None:
        del done, total
        cancel.ask()

    with opened(tmp_path, stage) as card:
        with pytest.raises(StoppedError):
            put(card, layout, source, after_the_first_block, cancel)
        back = read_back(card, layout, silent, Cancel())
    assert verdict(layout, source, back) is not Verdict.USE


def test_an_image_that_is_not_the_stages(tmp_path: Path, stage: tuple[Layout, Memory]) -> None:
    layout, source = stage
    wrong = dict(source.contents)
    wrong[layout.stage.files[0].sha256] = CONTENT[:-1] + b"x"
    with opened(tmp_path, stage) as card, pytest.raises(ShelfError):
        put(card, layout, Memory(wrong), silent, Cancel())


@pytest.mark.parametrize("call", ["pwrite", "fsync"])
def test_errors_of_the_card_are_refusals(
    tmp_path: Path, stage: tuple[Layout, Memory], monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    layout, source = stage

    def failing(*_: object) -> int:
        raise OSError(5, "Input/output error")

    with opened(tmp_path, stage) as card:
        monkeypatch.setattr(os, call, failing)
        with pytest.raises(WriteFailedError) as caught:
            put(card, layout, source, silent, Cancel())
    assert caught.value.parameters["cause"] == "EIO"


FULL = """
import resource, signal, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from tests.write.test_put import small_stage
from cardprep.errors import WriteFailedError
from cardprep.progress import Cancel, silent
from cardprep.write.guard import Permission, open_for_writing
from cardprep.write.put import put
layout, source = small_stage()
with open_for_writing(Path(sys.argv[2]), layout, Permission(), source) as card:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (5 * 2**20, 5 * 2**20))
    try:
        put(card, layout, source, silent, Cancel())
    except WriteFailedError as error:
        print(error.parameters["cause"])
"""


def small_stage() -> tuple[Layout, Memory]:
    stage, source = make_stage([(("LARGE.BIN",), CONTENT)], volume_size=64 * MIB)
    return lay_out(stage), source


def test_a_limit_of_the_system_is_a_refusal(tmp_path: Path) -> None:
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(root), str(tmp_path / "card.img")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout == "EFBIG\n", done.stderr
    assert hasattr(signal, "SIGXFSZ")
    assert hasattr(resource, "RLIMIT_FSIZE")


@pytest.mark.parametrize("direct", [False, True])
def test_put_on_a_loop_device(
    tmp_path: Path, stage: tuple[Layout, Memory], *, direct: bool
) -> None:
    """Only a loop device that reads its file directly gives what stands on the medium."""
    layout, source = stage
    environment = {"PATH": os.environ["PATH"] + ":/usr/sbin:/sbin"}
    backing = tmp_path / "backing"
    backing.touch()
    os.truncate(backing, layout.card_size)
    made = subprocess.run(
        ["losetup", "--find", "--show", f"--direct-io={'on' if direct else 'off'}", str(backing)],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    if made.returncode:
        # Only root can make a loop device; as another user there is nothing to put on.
        assert os.geteuid() != 0, made.stderr
        return
    device = made.stdout.strip()
    try:
        with open_for_writing(Path(device), layout, Permission(loop=True), source) as card:
            put(card, layout, source, silent, Cancel())
            back = read_back(card, layout, silent, Cancel())
        assert back.inspection.past_the_cache is direct
        # A card is called good only if it was the card that was read.
        wanted = Verdict.USE if direct else Verdict.USE_WITH_CARE
        assert verdict(layout, source, back) is wanted
    finally:
        subprocess.run(["losetup", "--detach", device], env=environment, check=True)
    assert backing.read_bytes()[: layout.length] == laid_out_bytes(layout, source)
