"""A planner that tries everything, written apart from the one that is tested.

It takes Job and Manifest as they are, every assignment of the versions that nobody
knows, and goes through all steps and cards in the order of their cost (uniform-cost
search: Dijkstra, "A note on two problems in connexion with graphs", Numerische
Mathematik 1, 1959). Slow, and meant to be seen to be right.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from cardprep.job.visit import COMPANION_UNKNOWN, NO_COMPANION, Found, Job, Unit
from cardprep.manifest.model import ImageFacts, Leaves, Manifest, Need
from cardprep.terms import APPLICATION, BOOTLOADER, CHART_DATA, CONFIGURATION, Version

EMPTY = "empty"
OLDER = "older than any"
Cost = tuple[int, int, int]
# For each unit: what is in each of its parts, then whether unit and handset run together.
World = tuple[tuple[tuple[tuple[str, str], str], ...], ...]


@dataclass(frozen=True)
class Here:
    """One visit while it is planned."""

    job: Job
    manifest: Manifest

    def handset(self, unit: Unit) -> str | None:
        if unit.companion in (None, NO_COMPANION):
            return None
        facts = self.manifest.model(unit.model)
        if unit.companion == COMPANION_UNKNOWN:
            return facts.companion.model if facts and facts.companion else None
        return unit.companion

    def parts(self, unit: Unit) -> list[tuple[str, str]]:
        """Return (model, type word) of each part of a unit, then of its handset."""
        facts = self.manifest.model(unit.model)
        assert facts is not None
        found = [(unit.model, kind.word) for kind in facts.types]
        handset = self.handset(unit)
        if handset is not None:
            known = self.manifest.model(handset)
            assert known is not None
            found += [(handset, kind.word) for kind in known.types]
        return found

    def spoken_of(self, model: str, word: str) -> set[str]:
        """Return every version of one type on one model that job or manifest speak of."""
        found: set[str] = set()
        for unit in self.job.units:
            told = ([unit.versions, unit.wanted] if unit.model == model else []) + (
                [unit.companion_versions, unit.companion_wanted]
                if self.handset(unit) == model
                else []
            )
            for versions in told:
                version = versions.get(word)
                found |= set() if version is None else {version.text}
        for image in self.manifest.images:
            if model in image.models and image.type.word == word:
                found |= {image.version.text, *(one.text for one in image.from_versions)}
            for need in image.needs:
                if need.type.word == word and (
                    need.model == model or (need.model is None and model in image.models)
                ):
                    found.add(need.at_least.text)
            for carried in image.carries:
                if (carried.model, carried.type.word) == (model, word):
                    found.add(carried.version.text)
            for name in image.models:
                facts = self.manifest.model(name)
                if (
                    facts
                    and facts.companion
                    and (facts.companion.model, APPLICATION.word) == (model, word)
                ):
                    found |= {one.text for one in image.runs_with}
        return found

    def key(self, version: str) -> tuple[int, ...]:
        """Return a place in the order of versions; dotted numbers are all that is used here."""
        if version == EMPTY:
            return (-2,)
        return (-1,) if version == OLDER else tuple(int(part) for part in version.split("."))

    def worlds(self) -> list[World]:
        """Return every case of what may be aboard."""
        by_unit = []
        for unit in self.job.units:
            choices = []
            for model, word in self.parts(unit):
                told = unit.versions if model == unit.model else unit.companion_versions
                version = told.get(word)
                if model == unit.model and word == APPLICATION.word and unit.found is Found.WAITING:
                    choices.append([EMPTY])
                elif version is not None:
                    choices.append([version.text])
                else:
                    choices.append([OLDER, *sorted(self.spoken_of(model, word))])
            together = "no" if unit.found is Found.HANDSET_BLANK else "yes"
            by_unit.append(
                [
                    (*zip(self.parts(unit), chosen, strict=True), (("", ""), together))
                    for chosen in itertools.product(*choices)
                ]
            )
        return [tuple(chosen) for chosen in itertools.product(*by_unit)]

    # --- steps

    def holds(self, need: Need, unit: int, world: World, display: int) -> bool:
        job = self.job
        own = job.units[unit]
        model = own.model if need.model is None else need.model
        if model in (own.model, self.handset(own)):
            content = dict(world[unit]).get((model, need.type.word))
            return content is not None and self.key(content) >= self.key(need.at_least.text)
        facts = self.manifest.model(own.model)
        if facts and facts.companion and facts.companion.model == model:
            return True
        others = [n for n, other in enumerate(job.units) if other.model == model]
        if others:
            contents = [dict(world[n]).get((model, need.type.word)) for n in others]
            return all(
                c is not None and self.key(c) >= self.key(need.at_least.text) for c in contents
            )
        readers = [one.model for one in job.displays]
        if model in readers:
            reader = job.displays[display]
            if reader.model != model:
                return True
            if reader.software is None or need.type in (BOOTLOADER, CONFIGURATION, CHART_DATA):
                return False
            return self.key(reader.software.text) >= self.key(need.at_least.text)
        return False

    def is_refused(self, image: ImageFacts, unit: int, world: World, display: int) -> bool:
        own = self.job.units[unit]
        now = dict(world[unit]).get((own.model, image.type.word))
        if image.withdrawn or own.model not in image.models or now is None:
            return True
        reader = self.job.displays[display].model
        if own.found is Found.OFF_NETWORK or (own.displays and reader not in own.displays):
            return True
        starts = [version.text for version in image.from_versions]
        starts_well = image.from_empty if now == EMPTY else not starts or now in starts
        falls = self.key(now) > self.key(image.version.text)
        if not starts_well or (falls and image.type.word not in own.may_fall):
            return True
        return not all(self.holds(need, unit, world, display) for need in image.needs)

    def loaded(self, image: ImageFacts, unit: int, world: World, display: int) -> World | None:
        """Return what is aboard after a step; None if it is not allowed."""
        if self.is_refused(image, unit, world, display):
            return None
        own = self.job.units[unit]
        then = dict(world[unit])
        then[own.model, image.type.word] = image.version.text
        erased = {kind.word for kind in image.erases}
        if image.leaves is Leaves.WAITING and image.type != APPLICATION:
            erased.add(APPLICATION.word)
        for word in erased:
            if (own.model, word) in then:
                then[own.model, word] = EMPTY
        handset = self.handset(own)
        if handset is not None:
            self.to_handset(image, handset, then)
        after = (*world[:unit], tuple(then.items()), *world[unit + 1 :])
        return None if self.breaks(own, image, erased, world, after, unit) else after

    def to_handset(self, image: ImageFacts, handset: str, then: dict[tuple[str, str], str]) -> None:
        brought = [one for one in image.carries if one.model == handset]
        for carried in brought:
            if (handset, carried.type.word) in then:
                then[handset, carried.type.word] = carried.version.text
        if image.type == APPLICATION and (handset, APPLICATION.word) in then:
            runs = {one.text for one in image.runs_with}
            runs |= {one.version.text for one in brought if one.type == APPLICATION}
            then["", ""] = "yes" if then[handset, APPLICATION.word] in runs else "no"

    def breaks(
        self, own: Unit, image: ImageFacts, erased: set[str], world: World, after: World, unit: int
    ) -> bool:
        before = dict(world[unit])
        for known in self.manifest.images:
            stays = known.type != image.type and known.type.word not in erased
            part = (own.model, known.type.word)
            if not stays or own.model not in known.models or before.get(part) != known.version.text:
                continue
            for need in known.needs:
                if need.model not in (None, own.model, self.handset(own)):
                    continue
                if self.holds(need, unit, world, 0) and not self.holds(need, unit, after, 0):
                    return True
        return False

    def out_of_service(self, unit: int, world: World) -> bool:
        own = self.job.units[unit]
        return any(
            content == EMPTY
            for (model, word), content in world[unit]
            if model == own.model and word not in (CONFIGURATION.word, CHART_DATA.word)
        )

    def barred(self, unit: int, world: World) -> bool:
        role = self.job.units[unit].role.casefold()
        return not self.job.together and any(
            number != unit and other.role.casefold() == role and self.out_of_service(number, world)
            for number, other in enumerate(self.job.units)
        )

    def is_done(self, world: World) -> bool:
        for number, unit in enumerate(self.job.units):
            if unit.is_left_alone:
                continue
            for (model, word), content in world[number]:
                if not model:
                    if content == "no":
                        return False
                    continue
                wanted: Mapping[str, Version] = (
                    unit.wanted if model == unit.model else unit.companion_wanted
                )
                if content == EMPTY or (word in wanted and wanted[word].text != content):
                    return False
        return True


def _together(one: ImageFacts, other: ImageFacts) -> bool:
    two_versions = one.type == other.type and bool(set(one.models) & set(other.models))
    return not two_versions and one.file.upper() != other.file.upper()


def cheapest(job: Job, manifest: Manifest, *, most: int = 200_000) -> Cost | None:
    """Return stages, minutes and bytes of the best plan; None if there is none."""
    here = Here(job, manifest)
    images = list(manifest.images)
    start = tuple(here.worlds())
    left: list[tuple[Cost, int, tuple[World, ...], int, frozenset[int]]] = [
        ((0, 0, 0), 0, start, -1, frozenset())
    ]
    seen = set()
    count = itertools.count(1)
    while left:
        cost, _, worlds, display, content = heapq.heappop(left)
        if (worlds, display, content) in seen:
            continue
        seen.add((worlds, display, content))
        if len(seen) > most:
            raise OverflowError
        if all(here.is_done(world) for world in worlds):
            return cost
        stages, minutes, size = cost
        # An empty card is not put in again.
        if content or display < 0:
            for reader in range(len(job.displays)):
                opened = (stages + 1, minutes, size)
                heapq.heappush(left, (opened, next(count), worlds, reader, frozenset()))
        if display < 0:
            continue
        facts = manifest.display(job.displays[display].model)
        assert facts is not None
        for number, image in enumerate(images):
            card = [images[n] for n in content]
            kinds = {one.type for one in card} | {image.type}
            if len(kinds) > facts.types_per_card:
                continue
            if number not in content and not all(_together(image, one) for one in card):
                continue
            for after in _steps(here, image, worlds, display):
                more = 0 if number in content else image.size
                spent = (stages, minutes + image.minutes.high, size + more)
                heapq.heappush(left, (spent, next(count), after, display, content | {number}))
    return None


def _steps(
    here: Here, image: ImageFacts, worlds: tuple[World, ...], display: int
) -> Iterator[tuple[World, ...]]:
    for unit, own in enumerate(here.job.units):
        if own.is_left_alone or any(here.barred(unit, world) for world in worlds):
            continue
        after = [here.loaded(image, unit, world, display) for world in worlds]
        found = [world for world in after if world is not None]
        if len(found) == len(worlds) and tuple(found) != worlds:
            yield tuple(found)
