"""Run the main job on the demonstration, by the command line, as an engineer would.

Every command is shown with what it prints, and its exit status is held against
the one that is right; the first surprise ends the demonstration.
"""

from __future__ import annotations

import hashlib
import io
import os
import shutil
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from cardprep.job.stage import Stage, StageFile, VolumeSettings
from cardprep.job.visit import JobName
from cardprep.layout.build import lay_out
from cardprep.layout.stream import BLOCK, blocks
from cardprep.terms import APPLICATION, BOOTLOADER, CONFIGURATION, MIB, ImageType, Version
from scripts.demo_files import (
    DISPLAYS_AND_MODELS,
    VISIT,
    WAYPOINTS,
    application,
    archive,
    bootloader,
    uimage,
    write_files,
)

USE, CARE, DO_NOT_USE, CANNOT_SAY = 0, 3, 10, 11


class Demo:
    """The demonstration in one folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.shop = folder / "shop"
        self.environment = {
            **{k: v for k, v in os.environ.items() if k not in ("CARDPREP_SHOP", "SSH_AUTH_SOCK")},
            # The demonstration keeps its pinned key to itself.
            "XDG_CONFIG_HOME": str(folder.resolve() / "settings"),
            "COLUMNS": "80",
        }

    def run(self, *words: str, status: int = USE) -> str:
        """Run one command, show it with what it prints, and insist on its exit status."""
        shown = " ".join(f'"{word}"' if " " in word else word for word in words)
        print(f"\n$ cardprep {shown}", flush=True)
        command = [sys.executable, "-m", "cardprep", "--shop", str(self.shop), *words]
        done = subprocess.run(
            command, env=self.environment, capture_output=True, text=True, check=False
        )
        sys.stdout.write(done.stdout + done.stderr)
        sys.stdout.flush()
        if done.returncode != status:
            sys.exit(f"\nThe demonstration stops: exit status {done.returncode}, not {status}.")
        return done.stdout

    def card(self, name: str) -> str:
        """Return the path of a card image."""
        return str(self.folder / name)


def main() -> None:
    """Run it."""
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else "demo-out")
    if folder.exists():
        sys.exit(f"{folder} is there already; name a folder that is not.")
    folder.mkdir(parents=True)
    demo = Demo(folder)
    title("The evening before, at Gannet Slip Marine Electronics (all of this is invented)")
    prepare(demo)
    title("A card handed over")
    handed_over(demo)
    title("After a failed update")
    failed(demo)
    title("Left to look at")
    for path in sorted(folder.glob("*.img")):
        print(f"  {path}")
    for name in ("manifest.toml", "log.sqlite", "shelf"):
        print(f"  {demo.shop / name}")


def prepare(demo: Demo) -> None:
    """Go from the maker's files to two cards."""
    boot = demo.folder / "downloads" / bootloader().name
    write_files(boot.parent)
    name, packed = archive()
    boot.with_name(name).write_bytes(packed)
    say("A shop folder: key, manifest, shelf and log.")
    demo.run(
        *("shop", "new", "--name", "Gannet Slip Marine Electronics"),
        *("--bench", "B", "--operator", "R. Tarn"),
    )
    manifest = demo.shop / "manifest.toml"
    manifest.write_text(manifest.read_text(encoding="utf-8") + DISPLAYS_AND_MODELS, "utf-8")
    say("Displays and models are written into manifest.toml by hand; the maker's files come in.")
    demo.run("intake", str(boot), *bootloader().intake)
    app = (*application().intake, "--unpack", "--member", application().name)
    demo.run("intake", str(boot.with_name(name)), *app)
    demo.run("manifest", "sign")
    visit = demo.folder / "visit.toml"
    visit.write_text(VISIT, "utf-8")
    say("Tomorrow's visit stands in visit.toml: one radio with its handset.")
    demo.run("job", "open", "--file", str(visit))
    demo.run("job", "plan", "B1")
    say("What will be done and seen on board, for the bag; and a picture of it:")
    demo.run("job", "rehearse", "B1", "--picture", demo.card("plan.svg"))
    demo.run("write", "B1", "1", demo.card("card-17.img"), "--number", "17")
    demo.run("write", "B1", "2", demo.card("card-18.img"), "--number", "18")
    demo.run("job", "list")
    say("Both cards once more, as they will be checked on board:")
    demo.run("check", demo.card("card-17.img"), "--job", "B1", "--stage", "1")
    demo.run("check", demo.card("card-18.img"), "--job", "B1", "--stage", "2")
    say("And if the two were exchanged?")
    demo.run("check", demo.card("card-18.img"), "--job", "B1", "--stage", "1", status=DO_NOT_USE)


def handed_over(demo: Demo) -> None:
    """Check cards that a customer hands over."""
    boot, app = bootloader(), application()
    say("'I downloaded it myself.' Both files stand on it, and something happened on the way.")
    content = bytearray(app.content)
    content[MIB] ^= 0xFF
    make_card(
        demo.folder / "customer-mixed.img",
        (
            (boot.name, boot.content, BOOTLOADER),
            (app.name, bytes(content), APPLICATION),
            ("System Volume Information/IndexerVolumeGuid", b"{invented}", CONFIGURATION),
            (".DS_Store", b"\0\0\0\1Bud1", CONFIGURATION),
        ),
    )
    demo.run("inspect", demo.card("customer-mixed.img"))
    demo.run("check", demo.card("customer-mixed.img"), status=DO_NOT_USE)
    say("Another one: the right application, and the owner's waypoints beside it.")
    files = ((app.name, app.content, APPLICATION), ("TRIP.GPX", WAYPOINTS, CONFIGURATION))
    make_card(demo.folder / "customer-waypoints.img", files)
    demo.run("check", demo.card("customer-waypoints.img"), "--job", "B1", status=CARE)
    say("A third one: newer than anything on the shelf. Support said on the telephone: load it.")
    newer = uimage(b"INVENTED. " + app.content[100:], "OV-V40 APP 4.31", 1793404800)
    make_card(demo.folder / "customer-newer.img", (("OVV40_APP_431.img", newer, APPLICATION),))
    demo.run("check", demo.card("customer-newer.img"), status=CANNOT_SAY)
    demo.run(
        *("check", demo.card("customer-newer.img")),
        *("--release", "newer-than-shelf", "--release", "no-image"),
        *("--reason", "mends the alert that sounds at every start"),
        *("--authority", "maker's support, ticket T-1180", "--name", "R. Tarn"),
        status=CARE,
    )


def failed(demo: Demo) -> None:
    """Answer for a job that did not end well."""
    say("On board stage 1 went well; stage 2 was reported as failed, and the radio restarted.")
    demo.run("outcome", "B1", "done", "--stage", "1", "--card", "17")
    demo.run(
        *("outcome", "B1", "part", "--stage", "2", "--card", "18"),
        *("--seen", "main radio; application=4.17; bootloader=3.10"),
        *("--note", "the display said that the update failed, after two minutes"),
    )
    say("Card 18 comes back to the bench, as card-18-back.img. What left, and what is on it now?")
    back = demo.folder / "card-18-back.img"
    shutil.copyfile(demo.folder / "card-18.img", back)
    with back.open("r+b") as card:
        # Somewhere in the application; a worn card does such things.
        card.seek(6 * MIB)
        byte = card.read(1)[0]
        card.seek(6 * MIB)
        card.write(bytes((byte ^ 0xFF,)))
    demo.run("trace", str(back))
    demo.run("check", str(back), status=DO_NOT_USE)
    say("The whole job, for whoever asks:")
    demo.run("trace", "B1")
    demo.run("log", "verify")


class _Memory:
    """Contents by digest, for a card that no shelf holds."""

    def __init__(self, contents: dict[str, bytes]) -> None:
        self._contents = contents

    @contextmanager
    def open(self, file: StageFile) -> Iterator[io.BytesIO]:
        yield io.BytesIO(self._contents[file.sha256])


def make_card(path: Path, files: tuple[tuple[str, bytes, ImageType], ...]) -> None:
    """Make a card as somebody else's computer might have: some files on a small volume."""
    contents = {hashlib.sha256(content).hexdigest(): content for _, content, _ in files}
    stage = Stage(
        job=JobName("C", 9),
        number=1,
        of=1,
        display="OV-D9",
        files=tuple(
            StageFile(
                path=tuple(name.split("/")),
                size=len(content),
                sha256=hashlib.sha256(content).hexdigest(),
                image_type=kind,
                models=("OV-V40",),
                version=Version("0"),
                released="2026-11-21T18:02:00Z",
            )
            for name, content, kind in files
        ),
        settings=VolumeSettings(volume_size=64 * MIB),
    )
    layout = lay_out(stage)
    with path.open("wb") as card:
        for _, block in blocks(layout, _Memory(contents), memoryview(bytearray(BLOCK))):
            card.write(block)
        card.truncate(layout.card_size)


def title(sentence: str) -> None:
    """Say which part comes next."""
    print(f"\n{'=' * 72}\n{sentence}\n{'=' * 72}", flush=True)


def say(sentence: str) -> None:
    """Say what happens next."""
    print("\n" + "\n    ".join(textwrap.wrap(f"--- {sentence}", 72)), flush=True)


if __name__ == "__main__":
    main()
