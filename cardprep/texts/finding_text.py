"""What a finding says: what was seen, why it matters, what to do."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FindingText:
    """What was seen, why it matters, what to do."""

    seen: str
    why: str
    remedy: str
