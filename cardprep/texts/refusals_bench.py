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
        "{name} is packed: {format}",
        "Unpack it first and take in the image inside; or give --as-is if the display reads it packed.",
    ),
    "intake.packed-zip": RefusalText(
        "{name} is a ZIP, as makers often ship their images",
        "Give --unpack to take the image out of it; or --as-is if the display reads it packed.",
    ),
    "intake.no-image": RefusalText(
        "{name} is {format} and no image that a unit could load", _OTHER_FILE
    ),
    "intake.which-member": RefusalText(
        "there are {count} files in the archive: {known}", "Name the one to take with --member."
    ),
    "intake.no-member": RefusalText(
        "{found} is not one file of the archive ({known})",
        "Write its name as it stands there, with its folders if two have the same.",
    ),
    "intake.as-is-and-unpack": RefusalText(
        "a file is taken in as it is, or unpacked, not both", "Leave one of the two out."
    ),
    "intake.checksum": RefusalText(
        "the {algorithm} of {name} is not the published one, {expected}",
        "Look whether the sum is for this very file; if it is, fetch the file again.",
    ),
    "intake.checksum-missing": RefusalText(
        "the file is said to be known by the maker's checksum, and none is given",
        "Give it with --checksum, or say truly how the file is known.",
    ),
    "intake.told": RefusalText(
        "{name} cannot stand in the manifest as it was told: {problem}",
        "{remedy} Nothing was changed.",
    ),
    "intake.future": RefusalText(
        "the day {found} ({what}) has not come yet",
        "Look at the date; days are written as year, month, day: 2026-11-25.",
    ),
    "intake.known-otherwise": RefusalText(
        "the manifest has these bytes as {name} already, and says otherwise ({differs})",
        "If what you gave is right, mend the image at line {line} of {file}, and sign it; nothing was changed.",
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
        "Write {meant} if that is meant; else write a [[model]] with this name into the manifest first.",
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
    "job.file-or-options": RefusalText(
        "a job is told by a file or by options, not by both",
        "Write all of it into the file, or leave --file out.",
    ),
    "job.changed": RefusalText(
        "job {job} was changed after it was planned", "Give first: cardprep job plan {job}."
    ),
    "job.display-unknown": RefusalText(
        "the manifest knows no display {found}; it knows: {known}",
        "Write {meant} if that is meant; else write a [[display]] with this model into the manifest.",
    ),
    "job.display-not-aboard": RefusalText(
        "a unit is reached by the display {found}, and the job has: {known}",
        "Write {meant} if that is meant; else add the display to the job.",
    ),
    "job.model-unknown": RefusalText(
        "the manifest knows no model {found}; it knows: {known}",
        "Write {meant} if that is meant; else write a [[model]] with this name into the manifest.",
    ),
    "job.type-unknown": RefusalText(
        "{model} has no {found}; it has: {known}",
        "Write {meant} if that is meant; else add the type to the model in the manifest.",
    ),
    "job.version-order": RefusalText(
        "{type} {version} of {model} cannot be held against other versions",
        "Write it as the unit shows it; if that is right, add it to the model's versions in the manifest.",
    ),
    "job.serial-twice": RefusalText(
        "serial {serial} is given for two units ({role} is the second)",
        "Read the serial numbers once more.",
    ),
    "job.handset-unasked": RefusalText(
        "nobody has said whether the {role} ({model}) has a handset",
        "Ask, and add handset=none, handset={companion} or handset=unknown; one that is forgotten stays dark afterwards.",
    ),
    "job.handset-always": RefusalText(
        "the {role} ({model}) always has a handset {companion}, and none is given",
        "Write handset={companion} or handset=unknown; if there is none aboard, mend presence in the manifest.",
    ),
    "job.handset-other": RefusalText(
        "the {role} ({model}) takes the handset {companion}, not {found}",
        "Write handset={companion}, handset=none or handset=unknown.",
    ),
    "job.plan-over-manifest": RefusalText(
        "stage {stage} of job {job} was planned with an image or a display that the manifest no longer has so",
        "Plan the job again: cardprep job plan {job}.",
    ),
    "job.no-handset": RefusalText(
        "the manifest says of no handset for {model} ({role})",
        "Leave handset out, or write companion into the model in the manifest.",
    ),
    "job.mmsi-form": RefusalText(
        "{found} has no form that an MMSI can have",
        "Read it once more: a vessel's begins with three digits of a country, 201 to 775.",
    ),
    "job.mmsi-kind": RefusalText(
        "{found} has the form of another station than a vessel: {kind}",
        "Read it once more, or leave it out if the vessel has none.",
    ),
    # outcome
    "diagnose.no-stages": RefusalText(
        "nothing is to be loaded into these units, so nothing can have gone otherwise than planned",
        "Tell what they had before (has) and what they were to get (wants).",
    ),
    "diagnose.stage": RefusalText(
        "there is no stage {stage}; the stages are 1 to {of}",
        "Look at the number on the label of the card.",
    ),
    "diagnose.display": RefusalText(
        "{found} is no display of this vessel; hers are: {known}", "Look at the spelling."
    ),
    "diagnose.key": RefusalText(
        "{found} is nothing that is seen of {who}; what is seen of it: {known}",
        "Tell it as: --saw 'main radio; state=dark; handset=blank' or --saw 'stage 2; shown=refused'.",
    ),
    "diagnose.answer": RefusalText(
        "{found} is no answer to {asked}; the answers are: {known}",
        "Leave it out if it is not known.",
    ),
    "diagnose.twice": RefusalText(
        "{asked} of {who} is told in two ways", "Leave one of them out, or both if it is not sure."
    ),
    "outcome.unit": RefusalText(
        "{found} is not one unit of the job ({known})", "Name the unit by its number."
    ),
    "outcome.type": RefusalText(
        "the {role} has no {found}; it has: {known}", "Look at the spelling."
    ),
    "outcome.version": RefusalText(
        "{found} is no version of the {type}",
        "Write the version as the unit shows it; what else was seen goes into --note.",
    ),
    "outcome.card": RefusalText(
        "the log has no card {card} for this step of job {job}",
        "Look at the number on the card, or at: cardprep trace {job}.",
    ),
    "outcome.contradicts": RefusalText(
        "the job is told to be done, but the {role} shows {type} {seen} and was to have {wanted}",
        "Tell it as part or not-done, or mend what was read.",
    ),
    "outcome.note": RefusalText("the note is longer than {most} characters", "Say it shorter."),
    "outcome.result": RefusalText(
        "{found} is no outcome", "Verify the log with: cardprep log verify."
    ),
    "step.minutes": RefusalText(
        "{low} to {high} is no time of a step", "Verify the log with: cardprep log verify."
    ),
    "check.job-and-stage": RefusalText(
        "a stage is one of a job, and no job is named", "Give --job together with --stage."
    ),
    "check.release-lacks": RefusalText(
        "a finding is released by hand only with a reason, an authority and a name",
        "Give --release FINDING together with --reason, --authority and --name.",
    ),
    "release.no-finding": RefusalText(
        "nothing is named that is to be released", "Give --release FINDING, as --json names it."
    ),
    "release.unknown": RefusalText(
        "{slug} is no finding",
        "Use the word that check shows behind --release for a finding that can be overruled.",
    ),
    "release.never": RefusalText(
        "{slug} is never released by hand",
        "Prepare another card; what is altered, damaged or for another model is not a matter of opinion.",
    ),
    "release.not-found": RefusalText(
        "there is no {slug} about this card", "Check the card without --release first."
    ),
    # trace
    "picture.there": RefusalText(
        "{name} is there already and is no picture of cardprep's",
        "Give another name; nothing was changed.",
    ),
    "picture.unwritten": RefusalText(
        "the picture cannot be written to {name}: {cause}",
        "Give a name in a folder that is there and has room.",
    ),
    "output.failed": RefusalText(
        "what this command says cannot be written: {cause}",
        "Make room where its output goes; what it did stands in the log.",
    ),
    "write.withdrawn": RefusalText(
        "{file} was withdrawn after the job was planned: {given}",
        "Ask the maker which version takes its place, change the job, and plan it again.",
    ),
    "write.not-listed": RefusalText(
        "{file} is no longer in the manifest", "Plan the job again: cardprep job plan {job}."
    ),
    "write.number": RefusalText(
        "a card is known by the number marked on it, and none is given",
        "Mark the card with a number of its own, and give it with --number.",
    ),
    "trace.nothing": RefusalText(
        "the log knows nothing of {what}",
        "Try the card's number, the job, the vessel, or the card itself in a reader.",
    ),
    "trace.nothing-card": RefusalText(
        "the log knows nothing of the card {what}; its volume has no serial number of this shop's",
        "Look at the number marked on it, or at what is on it with cardprep check.",
    ),
    "trace.label": RefusalText(
        "{label} has the form of this label's log word, but this log never had that head",
        "Read it once more; if it is right, the log was exchanged: cardprep log verify, and keep the label.",
    ),
    "trace.folder": RefusalText(
        "a mounted folder does not say which card it is",
        "Name the reader's device, an image file, or the number marked on the card.",
    ),
}
