"""The values of a step: one image into one unit, as a plan tells it to a person."""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.canonical import Json
from cardprep.errors import BadValueError
from cardprep.job.door import Door
from cardprep.terms import Version

UNITS_MOST = 999
MINUTES_MOST = 24 * 60


@dataclass(frozen=True, slots=True, kw_only=True)
class StageStep:
    """One image that a stage loads into one unit, and why.

    unit       number in the job, from 1
    type       word of the image type
    version    that it brings
    now        that the unit has; None is unknown
    needed_by  the image that needs it ("application 4.30"), or None if it was asked for
    minutes    low and high
    read_at    where the unit shows this version, or None
    handset    what the image carries for a unit aboard that is updated through this one
               ("OV-H4 application 2.41"), or None
    mode       how it is seen that this one is in its mode, or None
    note       what to note before the step, of this unit
    once       what can be entered into this unit only once
    """

    unit: int
    type: str
    version: Version
    now: Version | None
    needed_by: str | None
    minutes: tuple[int, int]
    read_at: str | None
    handset: str | None = None
    mode: str | None = None
    note: tuple[str, ...] = ()
    once: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a range of minutes that is none."""
        low, high = self.minutes
        if not 0 <= low <= high <= MINUTES_MOST:
            raise BadValueError("step.minutes", low=low, high=high)

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {
            "unit": self.unit,
            "type": self.type,
            "version": self.version.text,
            "now": None if self.now is None else self.now.text,
            "needed_by": self.needed_by,
            "minutes_low": self.minutes[0],
            "minutes_high": self.minutes[1],
            "read_at": self.read_at,
            "handset": self.handset,
            "mode": self.mode,
            "note": list(self.note),
            "once": list(self.once),
        }

    @classmethod
    def from_record(cls, record: Json, where: str) -> StageStep:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        step = cls(
            unit=door.integer("unit", 1, UNITS_MOST),
            type=door.text("type"),
            version=door.parsed("version", Version, "version"),
            now=door.optional_parsed("now", Version, "version"),
            needed_by=door.optional_text("needed_by"),
            minutes=(
                door.integer("minutes_low", 0, MINUTES_MOST),
                door.integer("minutes_high", 0, MINUTES_MOST),
            ),
            read_at=door.optional_text("read_at"),
            handset=door.optional_text("handset"),
            mode=door.optional_text("mode"),
            note=door.texts("note"),
            once=door.texts("once"),
        )
        door.close()
        return step
