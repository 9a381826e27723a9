"""One fact that could be otherwise: it turns a job and a manifest into others."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from cardprep.job.visit import Job
from cardprep.manifest.model import Manifest

Facts = tuple[Job, Manifest]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One fact that is otherwise.

    unit  number of the unit that it is about, from 0; None for the whole job
    """

    slug: str
    unit: int | None
    parameters: Mapping[str, str | int]
    apply: Callable[[Job, Manifest], Facts]

    @property
    def key(self) -> tuple[str, int | None, tuple[tuple[str, str | int], ...]]:
        """What makes two changes the same, and puts them in a fixed order."""
        return self.slug, self.unit, tuple(sorted(self.parameters.items()))
