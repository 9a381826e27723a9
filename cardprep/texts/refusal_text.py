"""What a refusal says: one message and one remedy."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RefusalText:
    """What is wrong, and what to do about it."""

    message: str
    remedy: str
