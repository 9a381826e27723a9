"""What a refusal says: one message and one remedy."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RefusalText:
    """What is wrong, and what to do about it."""

    message: str
    remedy: str


# A refusal that nobody has worded yet must still be read.
UNWORDED = "Send this line to whoever looks after cardprep."
