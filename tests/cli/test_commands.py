"""The program as a person runs it: words in, lines or JSON out, an exit status of its own."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from scripts.demo_files import DISPLAYS_AND_MODELS, application, bootloader, write_files

ROOT = Path(__file__).resolve().parents[2]
UNIT = (
    "model=OV-V40; role=main radio; serial=V40-00317; handset=OV-H4; has bootloader=3.02; "
    "has application=4.17; wants application=4.30"
)


class Program:
    """The installed program with a shop and settings of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.shop = folder / "shop"
        self.environment = {
            "PATH": os.environ["PATH"],
            "HOME": str(folder),
            "XDG_CONFIG_HOME": str(folder / "settings"),
            "COLUMNS": "100",
            **{k: v for k, v in os.environ.items() if k.startswith("COVERAGE")},
        }

    def run(self, *words: str, **more: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "cardprep", "--shop", str(self.shop), *words]
        return subprocess.run(
            command,
            cwd=self.folder,
            env={**self.environment, **more},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
        )

    def good(self, *words: str) -> str:
        done = self.run(*words)
        assert done.returncode == 0, (words, done.stdout, done.stderr)
        return done.stdout

    def json(self, *words: str, status: int = 0) -> Any:  # noqa: ANN401 - whatever JSON holds
        done = self.run(*words, "--json")
        assert done.returncode == status, (words, done.stdout, done.stderr)
        return json.loads(done.stdout)


@pytest.fixture
def program(tmp_path: Path) -> Program:
    return Program(tmp_path)


@pytest.fixture
def shop(program: Program) -> Program:
    program.good("shop", "new", "--name", "Gannet Slip", "--bench", "B", "--operator", "R. Tarn")
    manifest = program.shop / "manifest.toml"
    manifest.write_text(manifest.read_text("utf-8") + DISPLAYS_AND_MODELS, "utf-8")
    return program


@pytest.fixture
def evening(shop: Program) -> Program:
    boot, app = write_files(shop.folder / "downloads")
    shop.good("intake", str(boot), *bootloader().intake)
    shop.good("intake", str(app), *application().intake)
    shop.good("manifest", "sign")
    shop.good("job", "open", "--vessel", "Saltwhistle", "--display", "OV-D9", "--unit", UNIT)
    shop.good("job", "plan", "B1")
    return shop


def test_version_and_help_answer(program: Program) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "cardprep", "--version"], capture_output=True, text=True, check=True
    )
    assert re.fullmatch(r"cardprep \d+\.\d+\.\d+\n", done.stdout)
    for words in (["--help"], ["job", "--help"], ["job", "open", "--help"], ["check", "--help"]):
        assert "Usage: " in program.good(*words)


def test_the_evening_as_objects(evening: Program) -> None:
    planned = evening.json("job", "show", "B1")
    assert [stage["label"] for stage in planned["stages"]] == ["B1-1 BOOT", "B1-2 APPL"]
    written = evening.json("write", "B1", "1", "card.img", "--number", "17")
    assert written["verdict"] == "use"
    checked = evening.json("check", "card.img")
    assert checked["verdict"] == "use"
    assert checked["card"]["sha256"] == written["layout"]["sha256"]
    assert checked["stage"] == {"job": "B1", "number": 1}
    for finding in checked["findings"]:
        assert {"slug", "severity", "path", "seen", "why", "remedy"} <= set(finding)
    traced = evening.json("trace", "card.img")
    assert traced["unchanged"] is True
    assert [job["name"] for job in traced["jobs"]] == ["B1"]
    state = evening.json("log", "verify")
    assert state["size"] >= state["sealed"] > 0
    shown = evening.json("log", "show", "--last", "2")
    assert [record["kind"] for record in shown["records"]] == ["write-ended", "card-checked"]
    signed = evening.json("log", "sign")
    assert signed["checkpoint"].startswith("cardprep shop log B\n")
    assert evening.json("manifest", "sign")["changed"] is False
    assert evening.json("manifest", "check") == {"mistakes": [], "signed": True}


def test_the_evening_as_lines(evening: Program) -> None:
    written = evening.good("write", "B1", "2", "card.img", "--number", "18")
    before, _, after = written.partition("[+] USE")
    # The digest is known before the first byte.
    assert "as they will be" in before
    assert "B1-2 APPL" in after
    assert evening.good("check", "card.img").startswith("[+] USE\n")
    assert "Saltwhistle" in evening.good("trace", "18")
    assert "writing ended" in evening.good("log", "show")
    assert "the log is whole" in evening.good("log", "verify")
    assert "B-" in evening.good("log", "sign")
    assert "Saltwhistle" in evening.good("job", "show", "B1")


def verified_by_others(program: Program, namespace: str, text: Path, signature: Path) -> bool:
    """Return whether ssh-keygen takes a signature, as the README tells a stranger to ask it."""
    key = (program.shop / "key.pub").read_text().strip()
    allowed = program.folder / "allowed"
    allowed.write_text(f'shop namespaces="{namespace}" {key}\n')
    command = ["ssh-keygen", "-Y", "verify", "-f", str(allowed), "-I", "shop", "-n", namespace]
    with text.open("rb") as signed:
        done = subprocess.run(
            [*command, "-s", str(signature)], stdin=signed, capture_output=True, check=False
        )
    return done.returncode == 0


def test_strangers_can_check_manifest_and_log(evening: Program) -> None:
    manifest, signature = evening.shop / "manifest.toml", evening.shop / "manifest.toml.sig"
    assert verified_by_others(evening, "manifest@cardprep", manifest, signature)
    assert not verified_by_others(evening, "checkpoint@cardprep", manifest, signature)
    evening.good("log", "sign", "--to", "handed out")
    text, seal = sorted((evening.folder / "handed out").iterdir())
    assert text.read_text().startswith("cardprep shop log B\n")
    assert verified_by_others(evening, "checkpoint@cardprep", text, seal)
    text.write_text(text.read_text().replace("B\n", "C\n"))
    assert not verified_by_others(evening, "checkpoint@cardprep", text, seal)


def test_a_job_from_a_file(shop: Program) -> None:
    (shop.folder / "visit.toml").write_text(
        '[vessel]\nname = "Saltwhistle"\n[display]\nmodel = "OV-D9"\n[[unit]]\n'
        'model = "OV-V40"\nrole = "main radio"\nhandset = "unknown"\n'
        'has = { application = "unknown" }\n'
        'wants = { application = "4.30" }\n'
    )
    opened = shop.json("job", "open", "--file", "visit.toml")
    assert opened["units"][0]["versions"] == {"application": None}
    assert "unknown" in shop.good("job", "show", "B1")
    assert shop.json("job", "show", "B1")["name"] == "B1"


def test_a_visit_is_rehearsed_and_drawn(evening: Program) -> None:
    told = evening.good("job", "rehearse", "B1", "--picture", "plan.svg")
    assert told.index("CARD 1 OF 2") < told.index("CARD 2 OF 2") < told.index("AFTERWARDS")
    assert all(len(line) <= 100 for line in told.splitlines())
    assert (evening.folder / "plan.svg").read_text("utf-8").count("out of service") == 2
    rehearsed = evening.json("job", "rehearse", "B1")
    assert rehearsed["minutes"] == [5, 10]
    assert rehearsed["stages"][1]["stands"][0]["handset"] == {"application": "2.41"}
    assert {said["part"] for said in rehearsed["stages"][1]["said"]} == {
        *("do", "see", "normal", "proved", "if-not")
    }
    done = evening.run("job", "rehearse", "B1", "--picture", "visit/plan.svg")
    assert done.returncode == 49


def test_a_job_is_changed_in_part(evening: Program) -> None:
    before = evening.json("job", "show", "B1")["job"]
    changed = evening.json("job", "change", "B1", "--vessel", "Saltwhistle II")
    assert changed["vessel"]["name"] == "Saltwhistle II"
    assert (changed["units"], changed["display"]) == (before["units"], before["display"])
    assert evening.run("job", "plan", "B1").returncode == 0
    other = UNIT.replace("4.17", "4.20")
    assert evening.json("job", "change", "B1", "--unit", other)["vessel"] == changed["vessel"]
    done = evening.run("job", "change", "B1")
    assert done.returncode == 27


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        pytest.param(["nonsense"], 2, "nonsense", id="no such command"),
        pytest.param(["check"], 2, "CARD", id="nothing to check"),
        pytest.param(["check", "nothing.img"], 20, "there is no nothing.img", id="no such card"),
        pytest.param(["check", "/dev/null"], 20, "/dev/null", id="no card at all"),
        pytest.param(["check", "a", "--stage", "1"], 27, "job", id="a stage without a job"),
        pytest.param(["job", "plan", "B77"], 36, "B77", id="no such job"),
        pytest.param(["job", "plan", "x x"], 27, "x x", id="no job's name"),
        pytest.param(["job", "open", "--vessel", "S"], 27, "display", id="half a job"),
        pytest.param(["write", "B7", "1", "c.img", "--number", "1"], 36, "B7", id="no plan"),
        pytest.param(["trace", "nobody"], 36, "nobody", id="nothing known"),
        pytest.param(["shop", "accept", "SHA256:x"], 34, "SHA256", id="another key"),
        pytest.param(
            ["shop", "new", "--name", "x", "--bench", "B", "--operator", "y"],
            32,
            "empty",
            id="a shop where one is",
        ),
    ],
)
def test_refusals_have_a_status_and_a_remedy(
    shop: Program, words: list[str], status: int, says: str
) -> None:
    done = shop.run(*words)
    assert done.returncode == status, done.stderr
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    if status != 2:
        first, _, remedy = done.stderr.partition("\n  ")
        assert first.startswith("cardprep: ")
        assert remedy.strip().endswith(".")


def test_a_mistake_in_the_manifest_names_its_line(shop: Program) -> None:
    manifest = shop.shop / "manifest.toml"
    text = manifest.read_text("utf-8")
    manifest.write_text(text.replace('kind = "radio"', 'kind = "wireless"'), "utf-8")
    line = text[: text.rindex('kind = "radio"')].count("\n") + 1
    done = shop.run("manifest", "check")
    assert done.returncode == 30
    assert f"line {line}" in done.stderr
    assert shop.run("manifest", "sign").returncode == 30
    assert shop.run("manifest", "check", "--json").returncode == 30


def test_a_card_without_a_shop_cannot_be_said(program: Program) -> None:
    (program.folder / "folder").mkdir()
    done = program.run("check", "folder")
    assert done.returncode == 11
    assert done.stdout.startswith("[?] CANNOT SAY\n")


def test_a_fault_of_our_own_is_a_sentence_and_a_report(program: Program) -> None:
    code = (
        "import sys, cardprep.cli.check_command as c, cardprep.cli.run as r\n"
        "def broken(*a, **k): raise RuntimeError('on purpose')\n"
        "c.check_card = broken\n"
        "sys.exit(r.run(['check', 'x']))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**program.environment, "TMPDIR": str(program.folder)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 70
    assert "Traceback" not in done.stderr
    (report,) = program.folder.glob("cardprep-report-*.txt")
    assert str(report) in done.stderr
    assert "on purpose" in report.read_text()


def test_colour_only_where_somebody_looks(evening: Program) -> None:
    evening.good("write", "B1", "1", "card.img", "--number", "17")
    assert "\x1b" not in evening.good("check", "card.img")
