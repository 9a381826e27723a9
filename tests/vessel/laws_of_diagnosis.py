"""The laws of diagnosis, held for one scene.

Each single departure and each pair is played. When all is observed, some explanation is
a part of what was played. With half of it hidden, what was played is not excluded. The
next observation is as good as the best one that is found by trying every one.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, combinations

from cardprep.vessel.departures import Departure
from cardprep.vessel.explain import Explainer, Explanation
from cardprep.vessel.next_question import next_question
from cardprep.vessel.observe import Observed, Question, answers, questions
from cardprep.vessel.play import Run
from cardprep.vessel.scene import Scene

_ALIKE = 1e-6


@dataclass
class Held:
    """What was held of one vessel."""

    departures: int = 0
    sets: int = 0
    questions: int = 0


def hold(
    scene: Scene, chance: random.Random, *, sets_most: int | None = None, asked_every: int = 10
) -> Held:
    """Hold the laws for one vessel; AssertionError names what breaks them.

    sets_most    play no more than these sets, chosen by chance
    asked_every  look for the best observation for one set in so many
    """
    explainer = Explainer(scene, most=2, sets_most=1_000_000)
    known = explainer.candidates
    sets: list[tuple[Departure, ...]] = list(
        chain(combinations(known, 0), combinations(known, 1), combinations(known, 2))
    )
    if sets_most is not None and len(sets) > sets_most:
        sets = chance.sample(sets, sets_most)
    held = Held(departures=len(known))
    for played in sets:
        run = chance.choice(explainer.runs(played))
        observed = all_of(scene, run, chance)
        _some_part(explainer, played, observed)
        hidden = dict(chance.sample(sorted(observed.items()), len(observed) // 2))
        left = _some_part(explainer, played, hidden)
        held.sets += 1
        if held.sets % asked_every == 0:
            held.questions += 1
            _best(scene, left, hidden)
    return held


def all_of(scene: Scene, run: Run, chance: random.Random) -> Observed:
    """Return an answer to every question, as this run allows it."""
    found: dict[Question, str] = {}
    for question in questions(scene):
        allowed = run.allowed(question)
        possible = [a for a in answers(scene, question) if allowed is None or a in allowed]
        assert possible, (question, allowed)
        found[question] = chance.choice(possible)
    return found


def _some_part(
    explainer: Explainer, played: tuple[Departure, ...], observed: Observed
) -> tuple[Explanation, ...]:
    explained = explainer.explain(observed)
    assert explained.whole
    sets = [frozenset(one.departures) for one in explained.explanations]
    assert any(one <= frozenset(played) for one in sets), (played, observed)
    known = set(sets)
    for one in sets:
        for size in range(len(one)):
            assert not any(frozenset(part) in known for part in combinations(one, size)), one
    return explained.explanations


def _best(scene: Scene, explanations: tuple[Explanation, ...], observed: Observed) -> None:
    """Hold that no observation leaves fewer, each one tried by itself."""
    tried = dict(_tried(scene, explanations, observed))
    best = next_question(scene, explanations, observed)
    least = min(tried.values(), default=float(len(explanations)))
    if best is None:
        assert least >= len(explanations) - _ALIKE, (least, len(explanations))
    else:
        assert abs(tried[best.question] - best.expected) < _ALIKE, best
        assert best.expected <= least + _ALIKE, (best, least)


def _tried(
    scene: Scene, explanations: tuple[Explanation, ...], observed: Observed
) -> Iterator[tuple[Question, float]]:
    total = sum(one.weight for one in explanations)
    for question in questions(scene):
        if question in observed:
            continue
        allow = {
            answer: [
                number
                for number, one in enumerate(explanations)
                if any(run.allows(question, answer) for run in one.runs)
            ]
            for answer in answers(scene, question)
        }
        count = [sum(n in some for some in allow.values()) for n in range(len(explanations))]
        yield (
            question,
            sum(
                len(some) * sum(explanations[n].weight / count[n] for n in some) / total
                for some in allow.values()
            ),
        )
