"""The cheapest way of one bundle through a given row of cards: minutes first, then bytes.

A row of cards says of each only which display reads it and which types are on it. Which
images are on it, and which steps are made with it, is found here: the ways of each group
are listed, and one way of each is chosen so that no card holds what may not be together
and the whole takes the fewest minutes, then the fewest bytes. The choice goes from group
to group and is given up as soon as it cannot become the best.

Method: branch and bound (Land and Doig, "An automatic method of solving discrete
programming problems", Econometrica 28, 1960).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from cardprep.vessel.graph import Reading
from cardprep.vessel.groups import Bundle, Group, Joint
from cardprep.vessel.model import Load, VesselModel

# More ways than this of one group are not listed, and no more choices than this are tried;
# what is found then is not proved.
WAYS_MOST = 256
TRIES_MOST = 20_000

# One step of a way: number of the stage, number of the unit, what is loaded.
Move = tuple[int, int, Load]
# Which images are used on which cards: pairs of stage and image.
Used = frozenset[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Way:
    """One way of a group through a row of cards."""

    minutes: int
    used: Used
    moves: tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class Course:
    """The cheapest way of a bundle; `whole` if every way was tried."""

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

    def concerns(self, reading: Reading) -> bool:
        """Return whether a card of this reading can hold anything for the bundle."""
        return any(group.contents(reading) for group in self._bundle.groups)

    def of(self, readings: Sequence[Reading]) -> Course | None:
        """Return the cheapest course through a row of cards; None if there is none."""
        # A card on which nothing for this bundle can be is as if it were not there.
        places = [place for place, reading in enumerate(readings) if self.concerns(reading)]
        row = tuple(readings[place] for place in places)
        if row not in self._known:
            self._known[row] = self._found(row)
        course = self._known[row]
        if course is None:
            return None
        moves = tuple((places[stage], unit, load) for stage, unit, load in course.moves)
        return Course(course.minutes, course.size, moves, course.whole)

    def _found(self, row: tuple[Reading, ...]) -> Course | None:
        ways = []
        whole = True
        for group in self._bundle.groups:
            some, complete = _ways(group, row, self._bundle.apart)
            if not some:
                return None
            ways.append(some)
            whole = whole and complete
        return _Choice(self._bundle, row, ways).best(whole=whole)


class _Choice:
    """Chooses one way of each group."""

    def __init__(self, bundle: Bundle, row: Sequence[Reading], ways: list[list[Way]]) -> None:
        self._bundle = bundle
        self._row = row
        # Groups with few ways first: what they need is then known to all others.
        self._ways = sorted(ways, key=len)
        self._sizes = [image.size for image in bundle.vessel.images]
        self._least = [0] * (len(ways) + 1)
        for place in range(len(ways) - 1, -1, -1):
            fewest = min(way.minutes for way in self._ways[place])
            self._least[place] = self._least[place + 1] + fewest
        self._best: Course | None = None
        self._tries = 0

    def best(self, *, whole: bool) -> Course | None:
        """Return the best choice; None if no ways of the groups go together."""
        self._choose(0, 0, frozenset(), 0, ())
        best = self._best
        if best is None or (whole and self._tries < TRIES_MOST):
            return best
        return Course(best.minutes, best.size, best.moves, whole=False)

    def _choose(
        self, place: int, minutes: int, used: Used, size: int, moves: tuple[Move, ...]
    ) -> None:
        if self._best is not None:
            bound = (minutes + self._least[place], size)
            if bound >= self._best.cost or self._tries >= TRIES_MOST:
                return
        self._tries += 1
        if place == len(self._ways):
            self._best = Course(minutes, size, moves)
            return
        choices = []
        for number, way in enumerate(self._ways[place]):
            added = way.used - used
            more = sum(self._sizes[image] for _, image in added)
            choices.append((way.minutes, more, number, added, way))
        for spent, more, _, added, way in sorted(choices, key=lambda choice: choice[:3]):
            if self._go_together(used, added):
                self._choose(
                    place + 1, minutes + spent, used | added, size + more, moves + way.moves
                )

    def _go_together(self, used: Used, added: Used) -> bool:
        apart = self._bundle.apart
        for stage, image in added:
            if any((stage, other) in used for other in apart[image]):
                return False
        room = self._bundle.room
        if room is None:
            return True
        return all(
            room(
                self._row[stage].display,
                frozenset(image for at, image in (*used, *added) if at == stage),
            )
            for stage in {stage for stage, _ in added}
        )


_Layer = dict[Joint, dict[Used, tuple[int, tuple[Move, ...]]]]


def _ways(
    group: Group, row: Sequence[Reading], apart: Mapping[int, frozenset[int]]
) -> tuple[list[Way], bool]:
    """Return the ways of a group of which none is worse than another, and whether these are all."""
    layer: _Layer = {group.start: {frozenset(): (0, ())}}
    whole = True
    for stage, reading in enumerate(row):
        whole = _Through(group, stage, reading, apart).go(layer) and whole
    kept: dict[Used, tuple[int, tuple[Move, ...]]] = {}
    for joint, some in layer.items():
        if group.is_done(joint):
            for used, way in some.items():
                _keep(kept, used, way)
    return [Way(minutes, used, moves) for used, (minutes, moves) in kept.items()], whole


class _Through:
    """Takes a group through one more card."""

    def __init__(
        self, group: Group, stage: int, reading: Reading, apart: Mapping[int, frozenset[int]]
    ) -> None:
        self._group = group
        self._stage = stage
        self._reading = reading
        self._apart = apart
        self._types = group.vessel.images

    def go(self, layer: _Layer) -> bool:
        """Add to each state the ways that reach it with this card; return whether all are kept."""
        whole = True
        left = list(layer)
        while left:
            joint = left.pop(0)
            for place, load, following in self._group.steps(joint):
                if not self._is_on_it(load):
                    continue
                known = layer.setdefault(following, {})
                changed = False
                for used, (minutes, moves) in tuple(layer[joint].items()):
                    if any((self._stage, other) in used for other in self._apart[load.image]):
                        continue
                    move: Move = (self._stage, self._group.numbers[place], load)
                    way = (minutes + load.minutes[1], (*moves, move))
                    changed |= _keep(known, used | {(self._stage, load.image)}, way)
                if len(known) > WAYS_MOST:
                    whole = False
                    for used in sorted(known, key=lambda one: (known[one][0], sorted(one)))[
                        WAYS_MOST:
                    ]:
                        del known[used]
                if changed and following not in left:
                    left.append(following)
        return whole

    def _is_on_it(self, load: Load) -> bool:
        on_it = self._types[load.image].type in self._reading.types
        return on_it and self._reading.display in load.displays


def _keep(
    known: dict[Used, tuple[int, tuple[Move, ...]]], used: Used, way: tuple[int, tuple[Move, ...]]
) -> bool:
    """Keep a way unless another is as quick and uses no more; return whether it is kept."""
    minutes = way[0]
    for other, (spent, _) in known.items():
        if spent <= minutes and other <= used:
            return False
    for other in [one for one, (spent, _) in known.items() if spent >= minutes and used <= one]:
        del known[other]
    known[used] = way
    return True


def size_of(vessel: VesselModel, images: Iterable[int]) -> int:
    """Return the bytes of images."""
    return sum(vessel.images[image].size for image in images)
