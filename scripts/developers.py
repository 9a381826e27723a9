"""Write the generated parts of DEVELOPERS.md: the map, the exit statuses, the findings.

Each part stands between a line ``<!-- NAME: written by scripts/fix -->`` and a
line ``<!-- end of NAME -->``; all other lines of the file are left as they are.
With ``--check`` nothing is written, the parts that are out of date are named,
and the exit status is 1 if there are any.
"""

from __future__ import annotations

import ast
import sys
import tomllib
from pathlib import Path

from cardprep.errors import refusal_classes
from cardprep.findings import KINDS
from cardprep.texts.findings import FINDINGS
from cardprep.texts.statuses import STATUSES

ROOT = Path(__file__).resolve().parent.parent
DOCUMENT = ROOT / "DEVELOPERS.md"


def first_sentence(docstring: str | None) -> str:
    """Return the first sentence of a docstring on one line, without its full stop."""
    paragraph = " ".join((docstring or "").split("\n\n")[0].split())
    sentence, _, _ = paragraph.partition(". ")
    return sentence.removesuffix(".").replace("|", "\\|")


def floors() -> dict[str, int]:
    """Return the floor of each room, counted from 1 at the top, as import-linter holds them."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    layers = settings["tool"]["importlinter"]["contracts"][0]["layers"]
    return {
        # A room in brackets may be missing.
        room.strip("() ").removeprefix("cardprep."): number
        for number, layer in enumerate(layers, start=1)
        for room in layer.split("|")
    }


def module_map() -> str:
    """Return one table of all modules, from the doors down, each with its first sentence."""
    package = ROOT / "cardprep"
    floor_of = floors()
    rows = []
    for path in package.rglob("*.py"):
        if path.name != "__init__.py":
            name = path.relative_to(package).as_posix()
            # __main__ stands above the first floor.
            floor = floor_of.get(name.split("/")[0].removesuffix(".py"), 0)
            docstring = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
            rows.append((floor, name, first_sentence(docstring)))
    lines = ["| floor | file | what it does |", "| --- | --- | --- |"]
    lines += [f"| {floor or ''} | `{name}` | {caption} |" for floor, name, caption in sorted(rows)]
    return "\n".join(lines)


def status_table() -> str:
    """Return the table of exit statuses: verdicts and the like, then every refusal."""
    meanings = {status: (meaning, "") for status, meaning in STATUSES.items()}
    for cls in refusal_classes():
        meanings[cls.exit_status] = (first_sentence(cls.__doc__) + ".", f"`{cls.__name__}`")
    lines = ["| status | meaning | refusal |", "| --- | --- | --- |"]
    lines += [
        f"| {status} | {meaning} | {name} |" for status, (meaning, name) in sorted(meanings.items())
    ]
    return "\n".join(lines)


def finding_table() -> str:
    """Return the table of findings in the order of their definition."""
    lines = [
        "| finding | severity | undecided | may be overruled | what is said |",
        "| --- | --- | --- | --- | --- |",
    ]
    for slug, kind in KINDS.items():
        undecided, releasable = (
            "yes" if fact else "" for fact in (kind.undecided, kind.releasable)
        )
        said = FINDINGS[slug].seen.replace("|", "\\|")
        lines.append(f"| `{slug}` | {kind.severity} | {undecided} | {releasable} | {said} |")
    return "\n".join(lines)


PARTS = {"map": module_map, "exit statuses": status_table, "findings": finding_table}


def with_part(text: str, name: str, part: str) -> str:
    """Return the document with one marked part replaced; both marks must be there, once."""
    start, end = f"<!-- {name}: written by scripts/fix -->\n", f"<!-- end of {name} -->"
    if text.count(start) != 1 or text.count(end) != 1:
        raise SystemExit(f"DEVELOPERS.md needs the two marks of the part '{name}', once each.")
    before, _, rest = text.partition(start)
    _, _, after = rest.partition(end)
    return f"{before}{start}{part}\n{end}{after}"


def main() -> int:
    """Write or check the document; return the exit status."""
    text = DOCUMENT.read_text(encoding="utf-8")
    stale = []
    for name, build in PARTS.items():
        renewed = with_part(text, name, build())
        if renewed != text:
            stale.append(name)
        text = renewed
    if "--check" in sys.argv[1:]:
        for name in stale:
            print(f"DEVELOPERS.md: the part '{name}' is out of date; run scripts/fix")
        return 1 if stale else 0
    DOCUMENT.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
