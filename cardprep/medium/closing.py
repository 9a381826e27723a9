"""What is opened with ``with`` and let go of at its end."""

from __future__ import annotations

from types import TracebackType
from typing import Self


class Closing:
    """Something with a `close`, which may be called twice."""

    def close(self) -> None:
        """Let go of it."""
        raise NotImplementedError

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
        /,
    ) -> None:
        self.close()
