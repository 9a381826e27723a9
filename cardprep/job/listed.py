"""A job as one line of a list: how far it is."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from cardprep.job.visit import Job


class State(StrEnum):
    """How far a job is; the last three are what came of it on board."""

    OPENED = "opened"
    PLANNED = "planned"
    PREPARED = "prepared"
    DONE = "done"
    PART = "part"
    NOT_DONE = "not-done"


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One job of the list.

    opened   UTC as "YYYY-MM-DDTHH:MM:SSZ"
    stages   how many the newest plan has, or None without one
    written  how many of them have a card that was written and read back right
    """

    job: Job
    opened: str
    state: State
    stages: int | None
    written: int
