"""Files in which every block was altered, and that are sound all the same."""

from __future__ import annotations

import pytest

from cardprep.findings import KINDS, Verdict
from cardprep.rules.judge import judge
from tests.manifests import image_facts, manifest_of
from tests.paper.test_sentences import intel_hex
from tests.rules.looked_at import context, looked_at, slugs

RELEASED = intel_hex(bytes(range(256)) * 300)
SHELF = manifest_of(image_facts("A.HEX", RELEASED, container="intel-hex"))


def found(content: bytes, name: str = "A.HEX") -> tuple[Verdict, list[str]]:
    judgement = judge(context(looked_at(name, content), manifest=SHELF))
    return judgement.verdict, slugs(judgement.findings)


def test_a_sound_file_of_which_no_block_is_the_same_is_never_good_and_never_overruled() -> None:
    verdict, said = found(intel_hex(bytes(reversed(range(256))) * 300))
    assert verdict is Verdict.CANNOT_SAY
    assert said == ["other-under-name"]
    assert not KINDS["other-under-name"].releasable


# Common practice, no published source: a transfer in text mode changes each line's end.
def test_line_ends_that_a_transfer_changed_are_altered_and_named() -> None:
    changed = RELEASED.replace(b"\n", b"\r\n")
    verdict, said = found(changed)
    assert verdict is Verdict.DO_NOT_USE
    assert said == ["altered"]
    judgement = judge(context(looked_at("A.HEX", changed), manifest=SHELF))
    assert judgement.findings[0].parameters["how"] == "altered-line-ends"


def test_and_back_again() -> None:
    shelf = manifest_of(
        image_facts("A.HEX", RELEASED.replace(b"\n", b"\r\n"), container="intel-hex")
    )
    judgement = judge(context(looked_at("A.HEX", RELEASED), manifest=shelf))
    assert judgement.findings[0].parameters["how"] == "altered-line-ends"


def test_two_images_joined() -> None:
    joined = RELEASED + RELEASED
    judgement = judge(context(looked_at("A.HEX", joined), manifest=SHELF))
    (altered,) = [f for f in judgement.findings if f.slug == "altered"]
    assert altered.parameters["how"] == "altered-longer"
    assert judgement.verdict is Verdict.DO_NOT_USE


@pytest.mark.parametrize("at", [20, 100_000])
def test_one_digit_and_its_checksum(at: int) -> None:
    """One byte of the code and the checksum of its record: most blocks stay the same."""
    line_start = RELEASED.rindex(b"\n:", 0, at) + 1
    line_end = RELEASED.index(b"\n", line_start)
    body = bytes.fromhex(RELEASED[line_start + 1 : line_end - 2].decode())
    body = body[:4] + bytes((body[4] ^ 0xFF,)) + body[5:]
    line = f":{body.hex().upper()}{-sum(body) & 0xFF:02X}".encode()
    verdict, said = found(RELEASED[:line_start] + line + RELEASED[line_end:])
    assert (verdict, said) == (Verdict.DO_NOT_USE, ["altered"])
