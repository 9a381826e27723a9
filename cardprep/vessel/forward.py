"""How far one group can get, card by card, and how many cards it needs at least."""

from __future__ import annotations

from cardprep.vessel.graph import Reading
from cardprep.vessel.groups import Group, Joint

# Where a group can be by now.
Belief = frozenset[Joint]


class Forward:
    """Looks forward for one group that has all cards to itself."""

    def __init__(self, group: Group, readings: tuple[Reading, ...]) -> None:
        self._group = group
        self._readings = tuple(one for one in readings if group.contents(one))
        self._after: dict[tuple[Belief, Reading], Belief] = {}
        # By belief: cards that are needed at least, and whether that many are enough.
        self._needed: dict[Belief, tuple[int, bool]] = {}
        self._alone = [graph.stages(self._readings) for graph in group.graphs]
        self.start: Belief = frozenset([group.start])
        self.needed = self._distance()

    def is_done(self, belief: Belief) -> bool:
        """Return whether the group can be done by now."""
        return any(self._group.is_done(joint) for joint in belief)

    def after(self, belief: Belief, reading: Reading) -> Belief:
        """Return where the group can be after one more card, whatever images are on it."""
        key = (belief, reading)
        found = self._after.get(key)
        if found is None:
            contents = self._group.contents(reading)
            display = reading.display
            found = belief.union(
                *(self._group.reached(belief, display, content) for content in contents)
            )
            self._after[key] = found
        return found

    def can_be_done(self, belief: Belief, left: int) -> bool:
        """Return whether the group can be done with so many more cards."""
        known, exact = self._needed.get(belief, (0, False))
        if exact or known > left:
            return known <= left
        if self.is_done(belief):
            self._needed[belief] = (0, True)
            return True
        if self._lower(belief) > left:
            return False
        if left:
            for reading in self._readings:
                following = self.after(belief, reading)
                if following != belief and self.can_be_done(following, left - 1):
                    if known == left:
                        self._needed[belief] = (left, True)
                    return True
        self._needed[belief] = (left + 1, False)
        return False

    def _distance(self) -> int | None:
        """Return how many cards the group needs; None if no number of them will do."""
        seen, layer, distance = {self.start}, [self.start], 0
        while layer:
            if any(self.is_done(belief) for belief in layer):
                return distance
            following = []
            for belief in layer:
                for reading in self._readings:
                    then = self.after(belief, reading)
                    if then not in seen:
                        seen.add(then)
                        following.append(then)
            layer, distance = following, distance + 1
        return None

    def _lower(self, belief: Belief) -> int:
        """Return how many cards are needed at least, each unit looked at alone."""
        far = len(self._readings) * 64 + 64
        return min(
            max(stages.get(state, far) for stages, state in zip(self._alone, joint, strict=True))
            for joint in belief
        )
