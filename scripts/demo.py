"""Run the main job on the demonstration, by the command line, as an engineer would.

Every command is shown with what it prints, and its exit status is held against
the one that is right; the first surprise ends the demonstration.
"""

from __future__ import annotations

import hashlib
import io
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from cardprep.job.stage import Stage, StageFile, VolumeSettings
from cardprep.job.visit import JobName
from cardprep.layout.build import lay_out
from cardprep.layout.stream import BLOCK, blocks
from cardprep.terms import APPLICATION, BOOTLOADER, MIB, ImageType, Version
from scripts.demo_files import DISPLAYS_AND_MODELS, application, bootloader, write_files

USE, DO_NOT_USE = 0, 10


class Demo:
    """The demonstration in one folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.shop = folder / "shop"
        self.environment = {
            **{k: v for k, v in os.environ.items() if k not in ("CARDPREP_SHOP", "SSH_AUTH_SOCK")},
            # The demonstration keeps its pinned key to itself.
            "XDG_CONFIG_HOME": str(folder.resolve() / "settings"),
            "COLUMNS": "100",
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
    say("The evening before, at Gannet Slip Marine Electronics (all of this is invented).")
    say("Two files were downloaded for the radio OV-V40: a bootloader and an application.")
    boot, app = write_files(folder / "downloads")
    prepare(demo, boot, app)
    handed_over(demo)
    say("After the visit: which card went into which job?")
    demo.run("trace", demo.card("card-17.img"))
    demo.run("trace", demo.card("card-18.img"))
    demo.run("log", "verify")
    say("Left to look at:")
    for path in sorted(folder.glob("*.img")):
        print(f"  {path}")
    print(f"  {demo.shop}/manifest.toml, and the shop log beside it")


def prepare(demo: Demo, boot: Path, app: Path) -> None:
    """Go from the maker's files to two cards."""
    demo.run(
        *("shop", "new", "--name", "Gannet Slip Marine Electronics"),
        *("--bench", "B", "--operator", "R. Tarn"),
    )
    manifest = demo.shop / "manifest.toml"
    manifest.write_text(manifest.read_text(encoding="utf-8") + DISPLAYS_AND_MODELS, "utf-8")
    say("Displays and models are written into manifest.toml by hand; the files are taken in:")
    demo.run("intake", str(boot), *bootloader().intake)
    demo.run("intake", str(app), *application().intake)
    demo.run("manifest", "sign")
    say("Tomorrow's visit: the vessel Saltwhistle, one radio with its handset.")
    demo.run(
        *("job", "open", "--vessel", "Saltwhistle", "--display", "OV-D9"),
        "--unit",
        "model=OV-V40; role=main radio; serial=V40-00317; handset=OV-H4; has bootloader=3.02; "
        "has application=4.17; wants application=4.30",
    )
    demo.run("job", "plan", "B1")
    demo.run("write", "B1", "1", demo.card("card-17.img"), "--number", "17")
    demo.run("write", "B1", "2", demo.card("card-18.img"), "--number", "18")
    say("Both cards once more, as they will be checked on board:")
    demo.run("check", demo.card("card-17.img"))
    demo.run("check", demo.card("card-18.img"))


def handed_over(demo: Demo) -> None:
    """Check two cards that a customer hands over."""
    say("A card handed over: 'I downloaded it myself.' Both files stand on it.")
    boot, app = bootloader(), application()
    both = ((boot.name, boot.content, BOOTLOADER), (app.name, app.content, APPLICATION))
    make_card(demo.folder / "customer-mixed.img", both)
    demo.run("check", demo.card("customer-mixed.img"), status=DO_NOT_USE)
    say("Another one: the application, but something happened to it on the way.")
    content = bytearray(app.content)
    content[MIB] ^= 0xFF
    make_card(demo.folder / "customer-altered.img", ((app.name, bytes(content), APPLICATION),))
    demo.run("check", demo.card("customer-altered.img"), status=DO_NOT_USE)


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
                path=(name,),
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


def say(sentence: str) -> None:
    """Say what happens next."""
    print(f"\n--- {sentence}", flush=True)


if __name__ == "__main__":
    main()
