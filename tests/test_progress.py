"""Progress that says nothing, and the wish to stop."""

from __future__ import annotations

import threading

import pytest

from cardprep.errors import StoppedError
from cardprep.progress import Cancel, Progress, silent
from cardprep.texts.catalogue import refusal


def test_silent_is_a_progress_that_prints_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    progress: Progress = silent
    progress(1, 2)
    assert capsys.readouterr() == ("", "")


def test_work_goes_on_until_somebody_asks_it_to_stop() -> None:
    cancel = Cancel()
    cancel.check()
    cancel.ask()
    for _ in range(2):
        with pytest.raises(StoppedError) as caught:
            cancel.check()
    assert refusal(caught.value).remedy


def test_the_wish_reaches_another_thread() -> None:
    cancel = Cancel()
    stopped = threading.Event()

    def work() -> None:
        try:
            while True:
                cancel.check()
        except StoppedError:
            stopped.set()

    thread = threading.Thread(target=work)
    thread.start()
    cancel.ask()
    thread.join(10)
    assert stopped.is_set()


def test_two_wishes_are_two() -> None:
    one, other = Cancel(), Cancel()
    one.ask()
    other.check()
