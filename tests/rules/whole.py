"""Whole cards as bytes, laid out in memory, inspected and judged."""

from __future__ import annotations

import io
import zipfile
from typing import Any

from cardprep.inspection.card import Watched, inspect_card
from cardprep.layout.build import lay_out
from cardprep.layout.compare import Comparison
from cardprep.manifest.model import Manifest
from cardprep.rules.context import Context
from cardprep.rules.judge import Judgement, judge
from cardprep.terms import MIB
from tests.cards import MemorySectors
from tests.rules.looked_at import MANIFEST
from tests.stages import Files, laid_out_bytes, make_stage

# The widely printed four-record example, its first checksum altered.
HEX = b""":10010000214601360121470136007EFE09D2190141
:100110002146017E17C20001FF5F16002148011928
:10012000194E79234623965778239EDA3F01B2CAA7
:100130003F0156702B5E712B722B732146013421C7
:00000001FF
"""


def zipped(name: str, content: bytes) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        archive.writestr(name, content)
    return held.getvalue()


def judged(files: Files, manifest: Manifest | None = MANIFEST, **more: Any) -> Judgement:  # noqa: ANN401
    if files:
        stage, source = make_stage(files, volume_size=64 * MIB)
        layout = lay_out(stage)
        data = bytearray(layout.card_size)
        data[: layout.length] = laid_out_bytes(layout, source)
        inspection = inspect_card(MemorySectors(data))
    else:
        inspection = inspect_card(MemorySectors(bytes(64 * MIB)))
    return judge(Context(inspection=inspection, manifest=manifest, **more))


def with_stage(
    files: Files, stage_files: Files, manifest: Manifest = MANIFEST, *, damage: int | None = None
) -> Judgement:
    stage, source = make_stage(stage_files, volume_size=64 * MIB)
    layout = lay_out(stage)
    on_card, card_source = make_stage(files, volume_size=64 * MIB)
    card = lay_out(on_card)
    data = bytearray(card.card_size)
    data[: card.length] = laid_out_bytes(card, card_source)
    if damage is not None:
        data[damage] ^= 0xFF
    comparison = Comparison(layout)
    watched = Watched(witness=comparison, length=layout.length, keep=layout.first_file_offset)
    inspection = inspect_card(MemorySectors(data), watched=watched)
    assert source.contents
    return judge(
        Context(inspection=inspection, manifest=manifest, stage=stage, compared=comparison.result())
    )
