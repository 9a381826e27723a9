"""Refusals: every class has a status of its own and says what it is."""

from __future__ import annotations

import pytest

from cardprep.errors import OWN_FAULT, WRONG_USAGE, CardprepError, refusal_classes
from cardprep.texts.statuses import STATUSES

CLASSES = refusal_classes()


def all_below(cls: type[CardprepError]) -> set[type[CardprepError]]:
    return {cls, *(lower for sub in cls.__subclasses__() for lower in all_below(sub))}


def test_the_list_of_classes_is_whole_and_in_order() -> None:
    # A class below a class would share its status, and the list would not know it.
    assert {CardprepError, *CLASSES} == all_below(CardprepError)
    statuses = [cls.exit_status for cls in CLASSES]
    assert statuses == sorted(statuses)


def test_every_class_has_a_status_of_its_own() -> None:
    assert len({cls.exit_status for cls in CLASSES}) == len(CLASSES)
    assert [cls for cls in CLASSES if "exit_status" not in vars(cls)] == []


@pytest.mark.parametrize("cls", CLASSES)
def test_the_form_of_a_class(cls: type[CardprepError]) -> None:
    # From 20 a refusal each; 64 to 69 would be free as well, 70 is our own fault.
    assert 20 <= cls.exit_status <= 69
    assert cls.exit_status not in STATUSES
    assert cls.__name__.endswith("Error")
    assert cls.__doc__
    assert cls.__doc__.endswith(".")


@pytest.mark.parametrize("cls", CLASSES)
def test_a_refusal_prints_itself_for_a_log_of_tests(cls: type[CardprepError]) -> None:
    assert str(cls("room.reason")) == "room.reason"
    assert str(cls("room.reason", offset=512, name="CARD\x1b")) == (
        r"room.reason offset=512 name='CARD\x1b'"
    )


@pytest.mark.parametrize("cls", CLASSES)
def test_a_refusal_keeps_reason_and_parameters(cls: type[CardprepError]) -> None:
    # `reason` is positional only, so that a sentence may have a parameter of that name.
    error = cls("room.reason", reason="worn out", size=3)
    assert error.reason == "room.reason"
    assert error.parameters == {"reason": "worn out", "size": 3}


def test_the_statuses_that_are_no_refusal() -> None:
    # Source: design, 'Settled choices'.
    assert set(STATUSES) == {0, 2, 3, 10, 11, 70}
    assert (WRONG_USAGE, OWN_FAULT) == (2, 70)
    # The base class is never raised; if it were, that would be our fault.
    assert CardprepError.exit_status == OWN_FAULT
