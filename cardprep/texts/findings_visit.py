"""The catalogue, part two, about visits, displays and versions; see ``findings.py``."""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.finding_text import FindingText

_NONE = "Nothing needs to be done."
_OTHER_STAGE = "Put this card back, and take the one that the plan names for this step."

VISIT: Mapping[str, FindingText] = {
    "newer-than-shelf": FindingText(
        "{path} seems to be a newer version than the {type} {version} for {models} on the shelf ({known})",
        "The shop has never seen it; the maker's list was last looked at on: {list_checked}.",
        "Look at the maker's list; if the file is there, take it in from there, and check the card again.",
    ),
    "other-version": FindingText(
        "{path} seems to be another version than the {type} {version} for {models} on the shelf ({known})",
        "The shop does not have these bytes; the maker's list was last looked at on: {list_checked}.",
        "Ask where the file comes from; if the maker gives it out, take it in, and check the card again.",
    ),
    "other-under-name": FindingText(
        "{path} has the name of the {type} {version} for {models}, not one block of it, and its own checks hold",
        "Makers keep a name for all versions: it is another version, or it was made to look like one. The maker's list was last looked at on: {list_checked}.",
        "Ask where the file comes from; if the maker gives it out, take it in, and check the card again.",
    ),
    "leftover-altered": FindingText(
        "{path} has the name of the {type} {version} for {models} and other bytes, in a folder that a computer's system keeps",
        "It was deleted or repaired there; a display that looks into every folder may still find it.",
        "Prepare the card again; emptying that folder is the least.",
    ),
    "wrong-volume": FindingText(
        "{path} stands on volume {number} of the card, and displays read the first",
        "The display does not find an image that stands elsewhere.",
        "Prepare a card with cardprep, which has one volume.",
    ),
    "program": FindingText(
        "{path} is a program, or starts one, on a computer",
        "It has no business on a card for a display; a computer that opens the card may run it.",
        "Do not open this card on a computer by itself; ask where the file comes from.",
    ),
    "attribute-odd": FindingText(
        "{path} is marked as: {marks}",
        "Displays pass over files that are marked so.",
        "Prepare the card again; that leaves no marks.",
    ),
    "name-decomposed": FindingText(
        "{path} has accents that stand beside their letters (decomposed Unicode)",
        "It looks like the maker's name, and is another one to a display that compares characters.",
        "Prepare the card again; that writes the name as the manifest has it.",
    ),
    "fragmented": FindingText(
        "{path} lies in {pieces} pieces on the card",
        "Files that were copied onto a used card do. A display that reads straight on would go wrong, and hardly any does.",
        _NONE,
    ),
    "owner-data": FindingText(
        "{path} is the owner's: {what}",
        "It may be the only copy. A display may also write on the card that holds it.",
        "Never write on this card: take it out before an update, put it into a bag, and give it back.",
    ),
    "not-for-these-units": FindingText(
        "{path} is the {type} {version} for {models}, and job {job} has none of them (aboard: {aboard})",
        "A display may offer it to a unit that cannot run it.",
        "Take the card out; look whether it belongs to another job, or whether a unit is missing in this one.",
    ),
    "goes-back": FindingText(
        "{path} is the {type} {version} for {models}, and the {role} has {has}, which is newer",
        "Going back to an older version is a step of its own, and some units refuse it or lose settings.",
        "Look at the versions in the job; if going back is meant, ask the maker how, and release it in writing.",
    ),
    "not-planned": FindingText(
        "{path} is the {type} {version} for {models}; for the {role} the job wants: {wanted}",
        "It is a released image, and not the one that was planned.",
        "Look at the plan with cardprep job show, or change the job.",
    ),
    "other-job": FindingText(
        "this is the card of job {job}, stage {stage} of {of} ({how}), and not of job {wanted_job}",
        "Two cards were exchanged, or the wrong job was named.",
        "Look at the number on the card, and at the vessel of job {job} with cardprep job show {job}.",
    ),
    "no-shop": FindingText(
        "there is no shop to hold the card against ({reason})",
        "Without its signed manifest nothing says what a file is.",
        "Name the shop folder with --shop DIR before the command, or make one with cardprep shop new.",
    ),
    "card-empty": FindingText(
        "the card is empty",
        "There is nothing on it that could be called right.",
        "Write a stage on it, or look whether it is the right card.",
    ),
    "plan-renewed": FindingText(
        "job {job} was planned again after this card was written as stage {stage} of {of}, with the same files",
        "Dates or the volume's settings may be others; the files are those of the newest plan.",
        "Write the card anew if there is time; else go on with it.",
    ),
    "needs-before": FindingText(
        "{path} needs {needed} {at_least} or newer on {on}, and there is {has}",
        "A unit that lacks it does not start the step, or reports that it failed.",
        "Load the {needed} first, from a card of its own; cardprep job plan puts the steps in order.",
    ),
    "needs-unknown": FindingText(
        "{path} needs {needed} {at_least} or newer on {on}; what there is now is not known here",
        "A unit that lacks it does not start the step, or reports that it failed.",
        "Read the {needed} on board before this card goes in (where it is shown: {read_at}).",
    ),
    "stage-before": FindingText(
        "{path} needs {needed} {at_least} or newer on {on}; stage {stage} brings it",
        "Loaded in another order the step does not start.",
        "Load stage {stage} first.",
    ),
    "starts-elsewhere": FindingText(
        "{path} is loaded over {starts} only, and the unit has {has}",
        "The maker gives it out for units of these versions.",
        "Ask the maker for the way from {has} to {version}.",
    ),
    "starts-unknown": FindingText(
        "{path} is loaded over {starts} only; what the unit has is not known here",
        "The maker gives it out for units of these versions.",
        "Read the {type} on board before this card goes in.",
    ),
    "handset-with-it": FindingText(
        "{path} also carries {brings} for the handset {companion}, which has to be in its mode first: {mode}",
        "A handset that stays behind at another version is dark at its next power-on.",
        "Have the handset aboard, powered, proved off, and in its mode before the step begins, as the maker says.",
    ),
    "handset-left-behind": FindingText(
        "{path} moves {model} on and brings nothing for its handset {companion}",
        "A handset that stays behind at another version is dark at its next power-on; nothing is damaged.",
        "Look whether the maker has a file that carries the handset too, and plan with that one.",
    ),
    "other-card": FindingText(
        "this is the card of job {job}, stage {stage} of {of} ({how}), and not of job {wanted_job}, stage {wanted_stage}",
        "Two cards were exchanged, or the wrong number was read.",
        _OTHER_STAGE,
    ),
    "card-too-large": FindingText(
        "the card has {size}, and display {display} takes {most} at most",
        "The display may not read it, or only some of it.",
        "Prepare a smaller card.",
    ),
    "display-file-system": FindingText(
        "the card is {found}, and display {display} reads {reads}",
        "The display does not see what is on it.",
        "Prepare the card with cardprep, which lays the volume out as the display reads it.",
    ),
    "display-partition-table": FindingText(
        "the card is {how}, and display {display} wants one {wants}",
        "Some displays read the other sort too, and some do not.",
        "Prepare the card with cardprep, which divides it as the display wants.",
    ),
    "read-from-file": FindingText(
        "the image file was read back from the system's memory, not from the disk",
        "For an image file that is usual; it proves what was written, not that the disk holds it.",
        _NONE,
    ),
}
