"""Which units have to be planned together, and where one card can take them.

Units are one *group* if one may have to wait for the other: they stand in for each
other, or an image for one needs a version on the other. Groups that may want the same
image, or images that exclude each other on one card, are one *bundle*. Bundles have
nothing to do with each other but the order in which cards are put in.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

from cardprep.vessel.graph import Reading, UnitGraph
from cardprep.vessel.model import Load, State, VesselModel, excludes, refused, stands_in_the_way

# The states of a group's units, in the order of the units.
Joint = tuple[State, ...]
Content = frozenset[int]
# Whether these images, by their numbers, fit on one card for a display.
Room = Callable[[int, Content], bool]


class Group:
    """Units that may have to wait for each other."""

    def __init__(
        self, vessel: VesselModel, numbers: Sequence[int], graphs: Sequence[UnitGraph]
    ) -> None:
        self.vessel = vessel
        self.numbers = tuple(numbers)
        self.graphs = tuple(graphs)
        self.start: Joint = tuple(vessel.units[number].start for number in numbers)
        self.images = frozenset[int]().union(*(graph.images for graph in graphs))
        # What stands in a unit's way may be one that the job leaves alone.
        self._whole = list(vessel.start)
        self._alone = len(numbers) == 1 and not self._has_a_stand_in()
        self._steps: dict[Joint, tuple[tuple[int, Load, Joint], ...]] = {}
        self._contents: dict[Reading, tuple[Content, ...]] = {}

    @property
    def likeness(self) -> Hashable:
        """What makes two groups alike for the number of cards; the group itself if it is several.

        Names and sizes of the images do not matter for one unit, their types and what they do do.
        """
        if not self._alone:
            return self.numbers
        unit = self.vessel.units[self.numbers[0]]
        facts = self.vessel.images
        loads = [
            (facts[load.image].type, replace(load, image=0, minutes=(0, 0), size=0))
            for load in unit.loads
        ]
        names = [
            tuple(n for n, other in enumerate(unit.loads) if self._exclude(load, other))
            for load in unit.loads
        ]
        standing = tuple(sorted(unit.standing.items(), key=lambda item: item[0]))
        return (unit.start, unit.goal, unit.vital, tuple(loads), tuple(names), standing)

    def _exclude(self, one: Load, other: Load) -> bool:
        return excludes(self.vessel.images[one.image], self.vessel.images[other.image])

    def contents(self, reading: Reading) -> tuple[Content, ...]:
        """Return the fullest cards of one reading for this group alone: images that go together."""
        found = self._contents.get(reading)
        if found is None:
            images = [image for image in sorted(self.images) if self._is_read(image, reading)]
            found = self._contents[reading] = tuple(_fullest(images, _apart(self.vessel, images)))
        return found

    def _is_read(self, image: int, reading: Reading) -> bool:
        if self.vessel.images[image].type not in reading.types:
            return False
        return any(
            load.image == image and reading.display in load.displays
            for number in self.numbers
            for load in self.vessel.units[number].loads
        )

    def _has_a_stand_in(self) -> bool:
        unit = self.vessel.units[self.numbers[0]]
        same = [one for one in self.vessel.units if one.role == unit.role]
        waits = any(need.unit is not None for load in unit.loads for need in load.needs)
        return len(same) > 1 or waits

    def is_done(self, joint: Joint) -> bool:
        """Return whether every unit of the group is as it ought to be at the end."""
        units = self.vessel.units
        return all(
            units[number].is_done(state) for number, state in zip(self.numbers, joint, strict=True)
        )

    def steps(self, joint: Joint) -> tuple[tuple[int, Load, Joint], ...]:
        """Return the steps that may be made in a state: place in the group, load, state after."""
        found = self._steps.get(joint)
        if found is None:
            found = self._steps[joint] = tuple(self._looked_up(joint))
        return found

    def _looked_up(self, joint: Joint) -> Iterable[tuple[int, Load, Joint]]:
        for number, state in zip(self.numbers, joint, strict=True):
            self._whole[number] = state
        for place, number in enumerate(self.numbers):
            pairs = self.graphs[place].edges.get(joint[place], ())
            if self._is_barred(number):
                continue
            for load, following in pairs:
                if self._alone or refused(self.vessel, self._whole, number, load) is None:
                    yield place, load, (*joint[:place], following, *joint[place + 1 :])

    def _is_barred(self, number: int) -> bool:
        if self._alone:
            return False
        return stands_in_the_way(self.vessel, self._whole, number) is not None

    def reached(self, joints: frozenset[Joint], display: int, content: Content) -> frozenset[Joint]:
        """Return the states that one card can take the group into, those it was in among them."""
        seen = set(joints)
        left = list(joints)
        while left:
            for _, load, following in self.steps(left.pop()):
                if load.image in content and display in load.displays and following not in seen:
                    seen.add(following)
                    left.append(following)
        return frozenset(seen)


class Bundle:
    """Groups that share images, or want images that exclude each other on one card."""

    def __init__(self, vessel: VesselModel, groups: Sequence[Group], room: Room | None) -> None:
        self.vessel = vessel
        self.groups = tuple(groups)
        self.images = frozenset[int]().union(*(group.images for group in groups))
        self.room = room
        self.apart = _apart(vessel, self.images)


def _apart(vessel: VesselModel, images: Iterable[int]) -> dict[int, frozenset[int]]:
    """Return for each image those that never share a card with it."""
    known = sorted(images)
    facts = vessel.images
    return {
        one: frozenset(other for other in known if excludes(facts[one], facts[other]))
        for one in known
    }


def _fullest(images: list[int], apart: Mapping[int, frozenset[int]]) -> list[Content]:
    """Return the largest sets of images of which no two exclude each other."""
    found: list[Content] = []

    def grow(chosen: list[int], place: int) -> None:
        if place == len(images):
            content = frozenset(chosen)
            if not any(content <= other for other in found):
                found.append(content)
            return
        image = images[place]
        if apart[image].isdisjoint(chosen):
            grow([*chosen, image], place + 1)
            # Leaving an image out is worth it only where it keeps another one out.
            if apart[image].isdisjoint(images[place:]):
                return
        grow(chosen, place + 1)

    if images:
        grow([], 0)
    return sorted(found, key=sorted)


def groups_of(vessel: VesselModel, graphs: dict[int, UnitGraph]) -> list[Group]:
    """Return the groups of the units for which something is to be done."""
    numbers = sorted(graphs)
    tied = _Tied(numbers)
    by_role: dict[str, int] = {}
    for number in numbers:
        unit = vessel.units[number]
        if not vessel.together:
            tied.tie(by_role.setdefault(unit.role, number), number)
        for load in unit.loads:
            for need in load.needs:
                if need.unit in graphs:
                    tied.tie(need.unit, number)
    return [Group(vessel, members, [graphs[n] for n in members]) for members in tied.bundles()]


def bundles_of(vessel: VesselModel, groups: Sequence[Group], room: Room | None) -> list[Bundle]:
    """Return the bundles of groups; `room` is None where every card has room enough."""
    tied = _Tied(range(len(groups)))
    for one, other in combinations(range(len(groups)), 2):
        if room is not None or _meet(vessel, groups[one], groups[other]):
            tied.tie(one, other)
    return [Bundle(vessel, [groups[n] for n in members], room) for members in tied.bundles()]


def _meet(vessel: VesselModel, one: Group, other: Group) -> bool:
    if one.images & other.images:
        return True
    return any(
        excludes(vessel.images[a], vessel.images[b]) for a in one.images for b in other.images
    )


class _Tied:
    """Numbers that are tied to each other, directly or through others."""

    def __init__(self, numbers: Iterable[int]) -> None:
        self._leader = {number: number for number in numbers}

    def _of(self, number: int) -> int:
        while self._leader[number] != number:
            number = self._leader[number]
        return number

    def tie(self, one: int, other: int) -> None:
        first, second = sorted((self._of(one), self._of(other)))
        self._leader[second] = first

    def bundles(self) -> list[list[int]]:
        found: dict[int, list[int]] = {}
        for number in self._leader:
            found.setdefault(self._of(number), []).append(number)
        return [sorted(members) for _, members in sorted(found.items())]
