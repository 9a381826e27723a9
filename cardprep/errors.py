"""Refusals: what cardprep could not, or would not, do.

A refusal is raised as one class below with a *reason*, a slug of the catalogue
in ``texts/refusals.py``, and the parameters which that sentence names. The
class carries the exit status; message and remedy are looked up only where a
person reads them, so that a shop can translate them in one place.

Every class has a status of its own, from 20. Statuses below that are verdicts
(0, 3, 10, 11) and wrong usage (2); 70 is our own fault.
"""

from __future__ import annotations

from typing import ClassVar

Parameter = str | int

OWN_FAULT = 70
WRONG_USAGE = 2


class CardprepError(Exception):
    """Base of all refusals; never raised itself."""

    exit_status: ClassVar[int] = OWN_FAULT

    def __init__(self, reason: str, /, **parameters: Parameter) -> None:
        super().__init__(reason, parameters)
        self.reason = reason
        self.parameters = parameters

    def __reduce__(self) -> tuple[object, ...]:
        """Let a refusal travel between processes, where a class and its slug are all there is."""
        return _again, (type(self), self.reason, self.parameters)

    def __str__(self) -> str:
        """Return reason and parameters, for logs of tests and never for a person."""
        return " ".join([self.reason, *(f"{k}={v!r}" for k, v in self.parameters.items())])


class NotThereError(CardprepError):
    """The card, file or folder that was named is not there, or not of a kind that is read."""

    exit_status = 20


class ShortReadError(CardprepError):
    """The reader gave fewer bytes than the card said it holds."""

    exit_status = 21


class ReadFailedError(CardprepError):
    """The reader reported an error for a place on the card."""

    exit_status = 22


class NotAllowedError(CardprepError):
    """The system does not let this user open the card or file."""

    exit_status = 23


class NotPartitionTableError(CardprepError):
    """The first sector is no partition table that can be right."""

    exit_status = 24


class NotFatError(CardprepError):
    """The volume is no FAT or exFAT file system that can be right."""

    exit_status = 25


class FolderTooLargeError(CardprepError):
    """A folder or a tree of folders is larger than cardprep reads."""

    exit_status = 26


class BadValueError(CardprepError):
    """A value of a job, a record or a setting cannot be right."""

    exit_status = 27


class ManifestTextError(CardprepError):
    """The manifest has a mistake; file, line and key are named."""

    exit_status = 30


class ManifestUntrustedError(CardprepError):
    """The manifest is unsigned, changed, signed by another key, or older than one seen."""

    exit_status = 31


class ShopFolderError(CardprepError):
    """The shop folder is missing, already there, or not one that this version reads."""

    exit_status = 32


class ShopLockedError(CardprepError):
    """Another cardprep works on this shop folder or this card."""

    exit_status = 33


class ShopKeyError(CardprepError):
    """The shop's key is missing, unreadable, of a wrong kind, or not the pinned one."""

    exit_status = 34


class ShelfError(CardprepError):
    """An image is not on the shelf, or the shelf's copy is not what its name says."""

    exit_status = 35


class JobError(CardprepError):
    """There is no such job, or it is not in a state for this step."""

    exit_status = 36


class NoPlanError(CardprepError):
    """No order of stages gets these units to these versions."""

    exit_status = 37


class LayoutError(CardprepError):
    """The stage cannot be laid out: it does not fit, or a name cannot stand on a card."""

    exit_status = 38


class WriteRefusedError(CardprepError):
    """The guard does not let this card be written."""

    exit_status = 39


class WriteFailedError(CardprepError):
    """Writing began and did not end; what is on the card is not known."""

    exit_status = 40


class IntakeRefusedError(CardprepError):
    """An update file is not taken onto the shelf."""

    exit_status = 41


class SignatureError(CardprepError):
    """A signature does not hold, or cannot be read."""

    exit_status = 42


class CanonicalError(CardprepError):
    """A value cannot stand in canonical JSON, or a line is not in canonical form."""

    exit_status = 43


class LogBrokenError(CardprepError):
    """The shop log contradicts itself, its checkpoints or what is known of it."""

    exit_status = 44


class LogUnavailableError(CardprepError):
    """The shop log cannot be read or appended to just now."""

    exit_status = 45


class StoppedError(CardprepError):
    """The person at the bench stopped the work."""

    exit_status = 46


class ProofError(CardprepError):
    """A proof of inclusion or consistency does not hold."""

    exit_status = 47


class ReleaseError(CardprepError):
    """A finding is not overruled: it is not on this card, or it never may be."""

    exit_status = 48


class OutputError(CardprepError):
    """What the command has to say cannot be written where its output goes."""

    exit_status = 49


class CaptureRefusedError(CardprepError):
    """A card is not captured: nothing of it can be read, or the capture has no place."""

    exit_status = 50


class CaptureBrokenError(CardprepError):
    """A capture is cut short or altered, or of a form that this version does not read."""

    exit_status = 51


def refusal_classes() -> list[type[CardprepError]]:
    """Return all refusal classes, by exit status."""
    return sorted(CardprepError.__subclasses__(), key=lambda cls: cls.exit_status)


def _again(
    cls: type[CardprepError], reason: str, parameters: dict[str, Parameter]
) -> CardprepError:
    return cls(reason, **parameters)
