"""The version of cardprep, as records and ``--version`` give it.

It stands in pyproject.toml too, and a test holds the two together: to ask the
installed package takes longer than everything else that ``--version`` does.
"""

from __future__ import annotations

VERSION = "0.1.0"
