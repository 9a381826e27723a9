"""Hold the laws of diagnosis: every departure and every pair of them, over many vessels.

    scripts/diagnose_laws [FIRST] [COUNT]

The laws stand in ``tests/vessel/laws_of_diagnosis.py``.
"""

from __future__ import annotations

import random
import sys
import time

from tests.vessel.evenings import evening, random_scene, two_radios
from tests.vessel.laws_of_diagnosis import hold


def main(first: int, count: int) -> int:
    """Hold the laws for the demonstration's vessels and for `count` pseudo-random ones."""
    begun = time.monotonic()
    scenes = [("evening", evening()), ("two radios", two_radios())]
    scenes += [(f"vessel {number}", random_scene(number)) for number in range(first, first + count)]
    sets = asked = most = 0
    for name, scene in scenes:
        held = hold(scene, random.Random(name))
        sets, asked = sets + held.sets, asked + held.questions
        most = max(most, held.departures)
        spent = time.monotonic() - begun
        sys.stdout.write(f"{name}: {held.departures} departures, {held.sets} sets, {spent:.0f} s\n")
        sys.stdout.flush()
    sys.stdout.write(
        f"held: {len(scenes)} vessels, {sets} sets, up to {most} departures each, "
        f"{asked} observations tried against all others\n"
    )
    return 0


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    sys.exit(main(*(numbers + [0, 200][len(numbers) :])))
