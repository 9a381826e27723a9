"""The catalogue, part one: what a refusal says and what helps.

Keyed by reason. A message is lower case without full stop and carries the
numbers; a remedy is one sentence that a tired person can follow. ``{names}``
are the parameters of the refusal.
"""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.exfat import EXFAT_REFUSALS
from cardprep.texts.refusal_text import RefusalText
from cardprep.texts.refusals_bench import BENCH
from cardprep.texts.refusals_card import CARD
from cardprep.texts.refusals_manifest import MANIFEST
from cardprep.texts.refusals_shop import SHOP
from cardprep.texts.refusals_stage import STAGE
from cardprep.texts.refusals_unpack import UNPACK
from cardprep.texts.refusals_words import WORDS

REFUSALS: Mapping[str, RefusalText] = {
    **WORDS,
    **CARD,
    **EXFAT_REFUSALS,
    **MANIFEST,
    **SHOP,
    **STAGE,
    **BENCH,
    **UNPACK,
}
