"""Hold the planner against one that tries everything, and time it on large vessels.

    scripts/plan_laws [FIRST] [COUNT]

The other planner stands in ``tests/vessel/exhaustive.py``; it knows nothing of the first.
"""

from __future__ import annotations

import hashlib
import sys
import time
from collections import Counter

from cardprep.vessel.plan import best, plan, vessel_of
from tests.vessel.exhaustive import cheapest
from tests.vessel.random_vessels import fleet, random_visit

# More than this and a vessel is too large to try everything on; it is counted and left.
_LOOKS_MOST = 4_000


def main(first: int, count: int) -> int:
    """Compare `count` vessels from number `first` on; return 1 if any differs."""
    found: Counter[str] = Counter()
    for seed in range(first, first + count):
        visit, shelf = random_visit(seed)
        try:
            wanted = cheapest(visit, shelf, most=_LOOKS_MOST)
        except OverflowError:
            found["too large to try everything"] += 1
            continue
        planned = best(vessel_of(visit, shelf), visit, shelf)
        cost = None if planned is None else planned.cost
        found["no plan" if wanted is None else f"{wanted[0]} cards"] += 1
        if cost != wanted:
            found["DIFFERENT"] += 1
            sys.stdout.write(f"vessel {seed}: {cost}, and {wanted} when everything is tried\n")
        if planned is not None and not planned.is_proved:
            found["not proved"] += 1
    for name, number in sorted(found.items()):
        sys.stdout.write(f"{number:6}  {name}\n")
    _growth()
    return 1 if found["DIFFERENT"] else 0


def _growth() -> None:
    """Time large vessels, and one digest of 256 MiB in the same run as a measure of the machine."""
    begun = time.perf_counter()
    hashlib.sha256(bytes(256 * 1024 * 1024)).digest()
    measure = time.perf_counter() - begun
    for size in (5, 10, 20, 50):
        for seed in range(1, 6):
            visit, shelf = fleet(size, seed)
            begun = time.perf_counter()
            planned = plan(visit, shelf)
            spent = time.perf_counter() - begun
            sys.stdout.write(
                f"{size:3} units, {len(shelf.images):3} images: {planned.cost[0]} cards, "
                f"{'proved' if planned.cost == planned.bound else 'not proved'}, "
                f"{spent:.2f} s, {spent / measure:.2f} times sha256 of 256 MiB\n"
            )


if __name__ == "__main__":
    words = [int(word) for word in sys.argv[1:]]
    sys.exit(main(*words) if len(words) == 2 else main(1_000, 3_000))
