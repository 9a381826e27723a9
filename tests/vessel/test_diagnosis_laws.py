"""The laws of diagnosis, over the demonstration's vessels and a sample of random ones.

``scripts/diagnose_laws`` holds them over all departures and pairs of 200 random vessels.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

from cardprep.vessel.scene import Scene
from tests.vessel.evenings import evening, random_scene, two_radios
from tests.vessel.laws_of_diagnosis import hold

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    "scene",
    [
        pytest.param(evening(), id="evening"),
        pytest.param(two_radios(), id="two radios"),
        *(pytest.param(random_scene(number), id=f"vessel {number}") for number in range(12)),
    ],
)
def test_what_was_done_is_never_excluded(scene: Scene) -> None:
    held = hold(scene, random.Random("a sample"), sets_most=60, asked_every=4)
    assert held.sets == 60
    assert held.questions == 15


PROGRAM = """
from cardprep.vessel.explain import Explainer
from cardprep.vessel.next_question import next_question
from tests.vessel.evenings import evening, observed
scene = evening()
seen = observed(scene, state="dark")
found = Explainer(scene).explain(seen)
print([one.departures for one in found.explanations])
print(next_question(scene, found.explanations, seen))
"""


def test_the_hash_seed_has_no_say() -> None:
    told = {
        subprocess.run(
            [sys.executable, "-c", PROGRAM],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("0", "1", "2")
    }
    assert len(told) == 1
