"""The cheapest way of one bundle through a given row of cards: minutes first, then bytes.

A row of cards says of each only which display reads it and which types are on it. Which
images are on it, and which steps are made with it, is found here: every choice of the
fullest contents is tried, each group goes the way of fewest minutes, and among those the
ways are combined that need the fewest bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from cardprep.vessel.graph import Reading
from cardprep.vessel.groups import Bundle, Content, Group, Joint
from cardprep.vessel.model import Load

# More ways than this of one group are not combined; what is found then is not proved.
WAYS_MOST = 512

# One step of a way: number of the stage, number of the unit, what is loaded.
Move = tuple[int, int, Load]


@dataclass(frozen=True, slots=True)
class Way:
    """One way of a group: which images it uses on which cards, and its steps."""

    used: frozenset[tuple[int, int]]
    moves: tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class Course:
    """The cheapest way of a bundle.

    whole  whether every way was tried, so that there is no cheaper one
    """

    minutes: int
    size: int
    moves: tuple[Move, ...]
    whole: bool = True

    @property
    def cost(self) -> tuple[int, int]:
        """Minutes, then bytes."""
        return self.minutes, self.size


class Courses:
    """Finds and remembers the courses of one bundle."""

    def __init__(self, bundle: Bundle) -> None:
        self._bundle = bundle
        self._known: dict[tuple[Reading, ...], Course | None] = {}

    def of(self, readings: Sequence[Reading]) -> Course | None:
        """Return the cheapest course through a row of cards; None if there is none."""
        # A card on which nothing for this bundle can be is as if it were not there.
        places = [n for n, reading in enumerate(readings) if self._bundle.contents(reading)]
        row = tuple(readings[place] for place in places)
        if row not in self._known:
            self._known[row] = self._found(row)
        course = self._known[row]
        if course is None:
            return None
        moves = tuple((places[stage], unit, load) for stage, unit, load in course.moves)
        return Course(course.minutes, course.size, moves, course.whole)

    def _found(self, row: tuple[Reading, ...]) -> Course | None:
        best: Course | None = None
        whole = True
        for contents in self._choices(row, []):
            course = self._with(row, contents)
            if course is None:
                continue
            whole = whole and course.whole
            if best is None or course.cost < best.cost:
                best = course
        return None if best is None else Course(best.minutes, best.size, best.moves, whole)

    def _choices(self, row: tuple[Reading, ...], chosen: list[Content]) -> Iterator[list[Content]]:
        if len(chosen) == len(row):
            yield chosen
            return
        for content in self._bundle.contents(row[len(chosen)]):
            yield from self._choices(row, [*chosen, content])

    def _with(self, row: tuple[Reading, ...], contents: list[Content]) -> Course | None:
        minutes, whole = 0, True
        ways: list[list[Way]] = []
        for group in self._bundle.groups:
            found = _ways(group, row, contents)
            if found is None:
                return None
            fewest, some, complete = found
            minutes += fewest
            whole = whole and complete
            ways.append(some)
        size, moves = self._combined(ways)
        return Course(minutes, size, moves, whole)

    def _combined(self, ways: list[list[Way]]) -> tuple[int, tuple[Move, ...]]:
        """Return the fewest bytes with which every group has one of its ways."""
        images = self._bundle.vessel.images
        kept: dict[frozenset[tuple[int, int]], tuple[Move, ...]] = {frozenset(): ()}
        for some in ways:
            following: dict[frozenset[tuple[int, int]], tuple[Move, ...]] = {}
            for used, moves in kept.items():
                for way in some:
                    following.setdefault(used | way.used, moves + way.moves)
            kept = _without_larger(following)

        def size(used: frozenset[tuple[int, int]]) -> int:
            return sum(images[image].size for _, image in used)

        used = min(kept, key=lambda one: (size(one), sorted(one)))
        return size(used), kept[used]


def _without_larger(
    kept: dict[frozenset[tuple[int, int]], tuple[Move, ...]],
) -> dict[frozenset[tuple[int, int]], tuple[Move, ...]]:
    """Leave out every set that holds another one and more."""
    if len(kept) == 1:
        return kept
    order = sorted(kept, key=lambda one: (len(one), sorted(one)))
    smallest: list[frozenset[tuple[int, int]]] = []
    for used in order:
        if not any(other <= used for other in smallest):
            smallest.append(used)
    return {used: kept[used] for used in smallest}


_Layer = dict[Joint, tuple[int, dict[frozenset[tuple[int, int]], tuple[Move, ...]]]]


def _ways(
    group: Group, row: Sequence[Reading], contents: Sequence[Content]
) -> tuple[int, list[Way], bool] | None:
    """Return the fewest minutes of a group, its ways in that time, and whether these are all."""
    layer: _Layer = {group.start: (0, {frozenset(): ()})}
    whole = True
    for stage, (reading, content) in enumerate(zip(row, contents, strict=True)):
        layer, complete = _through(group, layer, stage, reading.display, content)
        whole = whole and complete
    done = [(joint, found) for joint, found in layer.items() if group.is_done(joint)]
    if not done:
        return None
    fewest = min(minutes for _, (minutes, _) in done)
    ways: dict[frozenset[tuple[int, int]], tuple[Move, ...]] = {}
    for _, (minutes, some) in done:
        if minutes == fewest:
            for used, moves in some.items():
                ways.setdefault(used, moves)
    return fewest, [Way(used, moves) for used, moves in _without_larger(ways).items()], whole


def _through(
    group: Group, before: _Layer, stage: int, display: int, content: Content
) -> tuple[_Layer, bool]:
    """Return where a group can be after one more card."""
    layer: _Layer = {joint: (minutes, dict(some)) for joint, (minutes, some) in before.items()}
    whole = True
    left = sorted(layer, key=lambda joint: (layer[joint][0], joint))
    while left:
        joint = left.pop(0)
        minutes, some = layer[joint]
        for place, load, following in group.steps(joint):
            if load.image not in content or display not in load.displays:
                continue
            then = minutes + load.minutes[1]
            move: Move = (stage, group.numbers[place], load)
            reached = {used | {(stage, load.image)}: (*m, move) for used, m in some.items()}
            known = layer.get(following)
            if known is not None and known[0] < then:
                continue
            merged = dict(known[1]) if known is not None and known[0] == then else {}
            count = len(merged)
            for used, moves in reached.items():
                merged.setdefault(used, moves)
            if known is not None and known[0] == then and len(merged) == count:
                continue
            merged = _without_larger(merged)
            if len(merged) > WAYS_MOST:
                merged, whole = dict(sorted_first(merged)), False
            if known is not None and known[0] == then and merged.keys() == known[1].keys():
                continue
            layer[following] = (then, merged)
            if following not in left:
                left.append(following)
    return layer, whole


def sorted_first(
    ways: dict[frozenset[tuple[int, int]], tuple[Move, ...]],
) -> list[tuple[frozenset[tuple[int, int]], tuple[Move, ...]]]:
    """Return as many ways as are combined, in a fixed order."""
    return sorted(ways.items(), key=lambda pair: (len(pair[0]), sorted(pair[0])))[:WAYS_MOST]
