"""The program: words in, an exit status out.

``--version`` is answered before anything slow is loaded. A refusal becomes its
message, its remedy and its own exit status; anything else is our own fault and
becomes a sentence and a report file, never a traceback.
"""

from __future__ import annotations

import gc
import sys


def main() -> None:
    """Run the command line and leave with its exit status."""
    if sys.argv[1:] in (["--version"], ["-V"]):
        from cardprep.version import VERSION

        sys.stdout.write(f"cardprep {VERSION}\n")
        sys.exit(0)
    # Loading makes much that stays: looking for garbage all the while only takes time.
    gc.set_threshold(50_000)
    from cardprep.cli.run import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
