"""What would have to be otherwise for a plan: halves of sentences behind "if"."""

from __future__ import annotations

from collections.abc import Mapping

CHANGES: Mapping[str, str] = {
    "change.shelf": "an image took {model} from {type} {now} to {version}; none on the shelf does",
    "change.shelf-at-least": "an image took {model} from {type} {now} to at least {version}; none on the shelf does",
    "change.wish": "the job wanted {type} {version} for the {unit}, not {wanted}",
    "change.aboard": "a {model} with {type} {version} or newer were aboard and in the job",
    "change.withdrawn": "the {type} {version} for {model} were not withdrawn ({given}); ask the maker which takes its place",
    "change.starts": "the {type} {version} for {model} could be loaded over what the unit has; it is loaded over {starts} only",
    "change.from-empty": "the {type} {version} for {model} could be loaded into a unit that waits for one",
    "change.room": "the {type} {version} for {model} ({size} bytes) fitted on a card that the display takes",
    "change.runs-with": "the manifest said that the {type} {version} for {model} runs with what the handset {handset} has (runs_with), or brought it (carries)",
    "change.network": "the {unit} were on the network",
    "change.downgrade": "the job asked to go back: the {unit} has {type} {now}, and {wanted} is wanted (may fall={type})",
    "change.known": "it were known that the {unit} has {type} {version}: read it first",
    "change.known-handset": "it were known that the handset of the {unit} has {type} {version}: read it first",
    "change.no-handset": "the {unit} had no handset",
    "change.reach": "every display reached the {unit}",
    "change.display": "the display {display} had software {version} or newer",
    "change.elsewhere": "{model} had {type} {version} or newer",
    "change.together": "the job allowed units of one role to be out of service together (together = true)",
    # how they are put together
    "change.unit": "{unit}:",
    "change.set": "  - if {changes}",
    "change.and": ", and ",
    "change.or": " or ",
    "change.more": "  - and {count} more ways",
    "change.none": "  - no change of up to {most} facts gives one",
    "change.not-all": "  - not every change was tried",
    "change.unknown-now": "of any version",
}
