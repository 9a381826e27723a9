"""The values of an outcome: what came of a job, or of one of its stages, on board."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from cardprep.canonical import Json
from cardprep.errors import BadValueError
from cardprep.job.door import Door
from cardprep.job.stage import STAGES_MOST
from cardprep.job.step import UNITS_MOST
from cardprep.job.visit import JobName, require_line
from cardprep.terms import ImageType, Version

CARD_MOST = 99_999
NOTE_MOST = 2_000


class Result(StrEnum):
    """What came of it, in one word."""

    DONE = "done"
    PART = "part"
    NOT_DONE = "not-done"


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What one unit showed afterwards; `unit` is its number in the job, from 1."""

    unit: int
    versions: Mapping[str, Version]

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {"unit": self.unit, "versions": {k: v.text for k, v in self.versions.items()}}

    @classmethod
    def from_record(cls, record: Json, where: str) -> Seen:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        seen = cls(
            unit=door.integer("unit", 1, UNITS_MOST),
            versions=door.full_parsed_map("versions", Version, "version"),
        )
        door.close()
        for word in seen.versions:
            # The code is of no matter here; this refuses a word that no type can have.
            ImageType(word, "NONE")
        return seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of a job or a stage.

    stage  of the job, or None for the job as a whole
    card   number of the card that was used, or None if that was not told
    seen   versions that units showed, as they were read on board
    note   in the engineer's words, or None
    """

    job: JobName
    result: Result
    stage: int | None = None
    card: int | None = None
    seen: tuple[Seen, ...] = ()
    note: str | None = None

    def __post_init__(self) -> None:
        """Refuse a note that cannot stand on a sheet."""
        if self.note is not None:
            for line in self.note.splitlines() or [""]:
                require_line(line, "note")
            if len(self.note) > NOTE_MOST:
                raise BadValueError("outcome.note", most=NOTE_MOST)

    def to_record(self) -> dict[str, Json]:
        """Return the value as a JSON object."""
        return {
            "job": str(self.job),
            "result": self.result.value,
            "stage": self.stage,
            "card": self.card,
            "seen": [seen.to_record() for seen in self.seen],
            "note": self.note,
        }

    @classmethod
    def from_record(cls, record: Json, where: str = "outcome") -> Outcome:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        outcome = cls(
            job=door.parsed("job", JobName.recorded, "job name"),
            result=door.parsed("result", _result, "result"),
            stage=door.optional_integer("stage", 1, STAGES_MOST),
            card=door.optional_integer("card", 1, CARD_MOST),
            seen=door.many("seen", Seen.from_record),
            note=door.optional_text("note"),
        )
        door.close()
        return outcome


def _result(text: str) -> Result:
    try:
        return Result(text)
    except ValueError as error:
        raise BadValueError("outcome.result", found=text[:40]) from error
