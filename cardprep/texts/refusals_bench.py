"""The catalogue, part one, for the bench's own jobs: intake, jobs, trace; see ``refusals.py``."""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.refusal_text import RefusalText

_OTHER_FILE = "Fetch the file again from where the maker gives it out, and take that one in."

BENCH: Mapping[str, RefusalText] = {
    "shop.no-log": RefusalText(
        "the shop folder has no log at {path}",
        "Put the log back from the newest copy; do not work without it.",
    ),
    "shop.key-unknown": RefusalText(
        "this user has not seen the shop's key {found} before",
        "Compare it with a sheet of the shop, then give: cardprep shop accept FINGERPRINT.",
    ),
    "shop.agent-has-not": RefusalText(
        "ssh-agent holds no Ed25519 key {wanted}",
        "Load the key with ssh-add, and look at its fingerprint with ssh-add -l.",
    ),
    "log.first-key": RefusalText(
        "the log does not begin with the key that this user knows the shop by",
        "Stop recording, and look for the right log among the copies; this one was begun elsewhere.",
    ),
    # intake
    "intake.empty": RefusalText("{name} is empty", _OTHER_FILE),
    "intake.broken": RefusalText("{name} is {format} and not sound: {problem}", _OTHER_FILE),
    "intake.packed": RefusalText(
        "{name} is {format} and no image that a unit could load",
        "Unpack it, or fetch the image itself, and take that in.",
    ),
    "intake.checksum": RefusalText(
        "{name} has sha256 {found}, but {expected} was published",
        "Look whether the sum is for this very file; if it is, fetch the file again.",
    ),
    "intake.changed": RefusalText(
        "{name} changed while it was taken in",
        "Wait until nothing writes it any more, and take it in again.",
    ),
    "intake.type": RefusalText(
        "{found} is no image type of the manifest ({known})",
        "Use one of these words, or add the image type to the manifest first.",
    ),
    "intake.model": RefusalText(
        "{found} is no model of the manifest ({known})",
        "Write a [[model]] with this name into the manifest first.",
    ),
    # jobs
    "job.not-there": RefusalText(
        "there is no job {job} in this shop's log",
        "Look at the number; cardprep trace VESSEL shows a vessel's jobs.",
    ),
    "job.not-planned": RefusalText(
        "job {job} has no plan yet", "Give first: cardprep job plan {job}."
    ),
    "job.no-stage": RefusalText(
        "job {job} has no stage {stage}, but {of} in all",
        "Look at its plan with: cardprep job show {job}.",
    ),
    "job.record": RefusalText(
        "a record of this job cannot be read",
        "Verify the log with: cardprep log verify.",
    ),
    "job.incomplete": RefusalText(
        "a job needs a vessel, a display and at least one unit",
        "Give --vessel, --display and --unit, or --file with all of them.",
    ),
    "check.job-and-stage": RefusalText(
        "a card is held against a stage of a job, so both are needed",
        "Give --job and --stage together, or neither.",
    ),
    # trace
    "trace.nothing": RefusalText(
        "the log knows nothing of {what}",
        "Try the card's number, the job, the vessel, or the card itself in a reader.",
    ),
    "trace.folder": RefusalText(
        "a mounted folder does not say which card it is",
        "Name the reader's device, an image file, or the number marked on the card.",
    ),
}
