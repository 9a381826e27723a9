"""The house as design and DEVELOPERS.md describe it: arrows, lengths, who may write, tables.

All checks but the last ones read source text only, so that a lazy import inside a
function counts as well. Each check is also given a fault, to show that it sees it.
"""

from __future__ import annotations

import ast
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "cardprep"
SCRIPTS = sorted((ROOT / "scripts").glob("*.py"))
ALL_FILES = sorted(PACKAGE.rglob("*.py"))
MODULES = [path for path in ALL_FILES if path.name != "__init__.py"]

FLOORS = {
    room: number
    for number, rooms in enumerate(
        [
            "__main__",
            "cli page",
            "bench",
            "paper",
            "rules write",
            "vessel",
            "layout",
            "inspection manifest shop shoplog",
            "images volume job",
            "medium",
            "findings terms texts canonical sshsig progress digests version",
            "errors",
        ]
    )
    for room in rooms.split()
}

# Everything printed or shown goes through these two, so that paper stays one room's business.
PAPER_CALLERS = ("cardprep.bench.papers", "cardprep.bench.dossier")

# Rooms that may change a file. Only `write` has a card in its hand: shop and shoplog open
# files of the shop's own, the doors and the bench hand finished bytes to a new file.
MAY_WRITE = {"write", "shop", "shoplog", "bench", "cli", "page", "__main__"}
MAY_OPEN_FOR_WRITING = {"write", "shop", "shoplog"}
HAVE_NO_CARD = {"shop", "shoplog"}
# What stands in for a closed stream is the null device, and no file.
OPEN_THE_NULL_DEVICE = {"cardprep.cli.streams"}

WRITING_FLAGS = {"O_WRONLY", "O_RDWR", "O_CREAT", "O_TRUNC", "O_APPEND", "O_TMPFILE"}
WRITING_MODULES = {"shutil", "subprocess", "tempfile"}
WRITING_METHODS = {
    *("chmod", "hardlink_to", "mkdir", "rename", "rmdir", "symlink_to", "touch", "unlink"),
    *("write_bytes", "write_text"),
}
WRITING_IN_OS = {
    *("chmod", "chown", "copy_file_range", "ftruncate", "link", "makedirs", "mkdir", "popen"),
    *("posix_fallocate", "pwrite", "pwritev", "remove", "rename", "replace", "rmdir", "sendfile"),
    *("symlink", "system", "truncate", "unlink", "utime", "write", "writev"),
}

ALLOWED_AT_TOP = {
    *("README.md", "DEVELOPERS.md", "pyproject.toml", "uv.lock", ".gitignore"),
    *("cardprep", "tests", "fixtures", "scripts", ".ci"),
}

FILE_LIMIT = 400
FUNCTION_LIMIT = 60

Check = Callable[[str, str], list[str]]


def module_name(path: Path) -> str:
    """Return `cardprep.volume.mbr` for `cardprep/volume/mbr.py`."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


def room_of(module: str) -> str:
    return module.split(".")[1] if "." in module else ""


def hold(check: Check, paths: list[Path]) -> None:
    """Fail with one fault to a line."""
    assert paths
    faults = [
        f"{path.relative_to(ROOT)}: {fault}"
        for path in paths
        for fault in check(module_name(path), path.read_text(encoding="utf-8"))
    ]
    assert not faults, "\n".join(["", *faults])


def imports(source: str) -> Iterator[tuple[int, str, list[str]]]:
    """Give line, module and names of each import; `import a.b` has no names."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name, []
        elif isinstance(node, ast.ImportFrom):
            module = "." * node.level + (node.module or "")
            names = [alias.name for alias in node.names]
            if module == "cardprep":
                for name in names:
                    yield node.lineno, f"cardprep.{name}", []
            else:
                yield node.lineno, module, names


def calls(source: str) -> Iterator[tuple[ast.Call, str, str]]:
    """Give each call with what is called, as owner and name: `os`, `open` or ``, `open`."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name):
                yield node, "", node.func.id
            elif isinstance(node.func, ast.Attribute):
                owner = node.func.value
                yield node, owner.id if isinstance(owner, ast.Name) else "?", node.func.attr


def wrong_arrows(module: str, source: str) -> list[str]:
    """Return the imports that do not run downward."""
    room = room_of(module)
    if room not in FLOORS:
        return [f"the room {room!r} is not in the house"]
    found = []
    for line, target, _ in imports(source):
        if target.split(".")[0] != "cardprep":
            continue
        other = room_of(target)
        if other not in FLOORS:
            found.append(f"line {line}: the room {other!r} is not in the house")
        elif other != room and FLOORS[other] <= FLOORS[room]:
            found.append(f"line {line}: {room} may not import {other}")
        elif other == "paper" and room == "bench" and module not in PAPER_CALLERS:
            found.append(f"line {line}: of bench, only papers and dossier import paper")
    for node, _, name in calls(source):
        # What is imported by a name made at run time cannot be held here. The terminal door
        # finds the file of a command that way.
        if name in {"import_module", "__import__"} and room != "cli":
            found.append(f"line {node.lineno}: {name} hides an import")
    return found


def crooked_imports(_module: str, source: str) -> list[str]:
    """Return relative imports, and names taken from a module that did not define them."""
    found = []
    for line, target, names in imports(source):
        if target.startswith("."):
            found.append(f"line {line}: relative import")
        elif target.startswith("cardprep."):
            place = ROOT.joinpath(*target.split("."))
            file = place.with_suffix(".py")
            known = defined_in(file.read_text(encoding="utf-8")) if file.is_file() else set()
            for name in names:
                is_module = (place / name).with_suffix(".py").is_file() or (place / name).is_dir()
                if name not in known and not is_module:
                    found.append(f"line {line}: {target} does not define {name}")
    return found


def defined_in(source: str) -> set[str]:
    """Return the names that a module defines at its top level, imports left out."""
    names: set[str] = set()
    waiting: list[ast.stmt] = list(ast.parse(source).body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.If | ast.Try):
            waiting += [*node.body, *node.orelse]
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            names |= {part.id for part in ast.walk(node) if isinstance(part, ast.Name)}
    return names


def too_long(_module: str, source: str) -> list[str]:
    found = []
    lines = len(source.splitlines())
    if lines > FILE_LIMIT:
        found.append(f"{lines} lines")
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or 0) - node.lineno + 1
            if length > FUNCTION_LIMIT:
                found.append(f"{node.name} has {length} lines")
    return found


def without_docstring(_module: str, source: str) -> list[str]:
    return [] if ast.get_docstring(ast.parse(source)) else ["no module docstring"]


def wrong_hands(module: str, source: str) -> list[str]:
    """Return the places that could change a file, in rooms that may not."""
    room = room_of(module)
    found = []
    if room not in MAY_OPEN_FOR_WRITING and module not in OPEN_THE_NULL_DEVICE:
        found += [f"{flag} is not for {room}" for flag in flags_in(source)]
    if room not in MAY_WRITE:
        found += writing_places(source)
    for line, target, _ in imports(source):
        if room in HAVE_NO_CARD and room_of(target) == "medium":
            found.append(f"line {line}: {room} writes files of its own and may not hold a card")
    return found


def flags_in(source: str) -> list[str]:
    return sorted(
        name
        for node in ast.walk(ast.parse(source))
        for name in [getattr(node, "attr", getattr(node, "name", ""))]
        if name in WRITING_FLAGS
    )


def writing_places(source: str) -> list[str]:
    found = [
        f"line {line}: imports {target}"
        for line, target, _ in imports(source)
        if target.split(".")[0] in WRITING_MODULES
    ]
    for node, owner, name in calls(source):
        if name in WRITING_METHODS or (owner == "os" and name in WRITING_IN_OS):
            found.append(f"line {node.lineno}: {name} changes something")
        elif name == "open" and owner != "os" and not opens_to_read(node, owner):
            found.append(f"line {node.lineno}: open, and not plainly for reading")
    return found


def opens_to_read(node: ast.Call, owner: str) -> bool:
    """Tell whether the mode is left out, or a constant that only reads."""
    modes = [keyword.value for keyword in node.keywords if keyword.arg == "mode"]
    if owner == "":
        modes += node.args[1:2]
    else:
        # Path.open takes its mode first, and other things have a method of that name too.
        modes += [argument for argument in node.args if isinstance(argument, ast.Constant)]
    return all(
        isinstance(mode, ast.Constant) and not set("wax+") & set(str(mode.value)) for mode in modes
    )


@pytest.mark.parametrize(
    "check",
    [wrong_arrows, crooked_imports, too_long, without_docstring, wrong_hands],
)
def test_the_house_holds(check: Check) -> None:
    hold(check, MODULES)


def test_scripts_are_short_and_say_what_they_do() -> None:
    hold(too_long, SCRIPTS)
    hold(without_docstring, SCRIPTS)


def test_every_init_is_there_and_empty() -> None:
    folders = {path.parent for path in MODULES}
    assert [str(folder) for folder in folders if not (folder / "__init__.py").is_file()] == []
    inits = [path for path in ALL_FILES if path.name == "__init__.py"]
    assert [str(path) for path in inits if path.stat().st_size > 0] == []


FAULTS = {
    "upward": (wrong_arrows, "volume.x", "import cardprep.rules.y"),
    "same floor": (wrong_arrows, "volume.x", "from cardprep.images import y"),
    "two doors": (wrong_arrows, "cli.x", "from cardprep.page import y"),
    "two words": (wrong_arrows, "terms", "from cardprep import findings"),
    "below the words": (wrong_arrows, "errors", "import cardprep.texts.refusals"),
    "lazy": (wrong_arrows, "medium.x", "def f():\n    from cardprep.bench.y import z"),
    "the way in, from within": (wrong_arrows, "cli.x", "import cardprep.__main__"),
    "unknown room": (wrong_arrows, "cellar.x", ""),
    "unknown target": (wrong_arrows, "cli.x", "import cardprep.cellar"),
    "the whole house": (wrong_arrows, "cli.x", "import cardprep"),
    "paper from elsewhere": (wrong_arrows, "bench.check", "import cardprep.paper.label"),
    "hidden import": (wrong_arrows, "job.x", "importlib.import_module(name)"),
    "relative": (crooked_imports, "a.b", "from . import c"),
    "relative, above": (crooked_imports, "a.b", "from ..c import d"),
    "another's name": (crooked_imports, "a.b", "from cardprep.terms import BadValueError"),
    "from nowhere": (crooked_imports, "a.b", "from cardprep.x.y import z"),
    "401 lines": (too_long, "a.b", "a = 1\n" * 401),
    "61 lines": (too_long, "a.b", "def f():\n" + "    a = 1\n" * 60),
    "no docstring": (without_docstring, "a.b", "a = 1\n"),
    "O_RDWR": (wrong_hands, "medium.x", "os.open(p, os.O_RDWR)"),
    "O_WRONLY": (wrong_hands, "bench.x", "os.open(p, os.O_WRONLY)"),
    "O_CREAT": (wrong_hands, "medium.x", "from os import O_CREAT"),
    "open to update": (wrong_hands, "medium.x", "open(p, 'r+b')"),
    "mode named": (wrong_hands, "volume.x", "open(p, mode='wb')"),
    "mode not known": (wrong_hands, "volume.x", "open(p, mode)"),
    "Path.open": (wrong_hands, "volume.x", "Path(p).open('ab')"),
    "io.open": (wrong_hands, "volume.x", "io.open(p, 'w')"),
    "write_bytes": (wrong_hands, "rules.x", "p.write_bytes(b'')"),
    "pwrite": (wrong_hands, "medium.x", "os.pwrite(fd, b'', 0)"),
    "a program": (wrong_hands, "inspection.x", "import subprocess"),
    "shop holds a card": (wrong_hands, "shop.x", "from cardprep.medium import y"),
}

RIGHT = {
    "way in": (wrong_arrows, "__main__", "import cardprep.cli.main"),
    "word refuses": (wrong_arrows, "terms", "import cardprep.errors"),
    "one room": (wrong_arrows, "volume.x", "import cardprep.volume.y"),
    "paper": (wrong_arrows, "bench.papers", "import cardprep.paper.label"),
    "another's package": (wrong_arrows, "job.x", "import cardprepared"),
    "module": (crooked_imports, "a.b", "from cardprep.texts import refusals"),
    "name": (crooked_imports, "a.b", "from cardprep.terms import MIB"),
    "400 lines": (too_long, "a.b", "a = 1\n" * 400),
    "60 lines": (too_long, "a.b", "def f():\n" + "    a = 1\n" * 59),
    "the writer": (wrong_hands, "write.x", "os.open(p, os.O_RDWR)"),
    "own files": (wrong_hands, "shop.x", "os.open(p, os.O_CREAT)"),
    "a paper": (wrong_hands, "bench.x", "p.write_bytes(b'')"),
    "O_RDONLY": (wrong_hands, "medium.x", "os.open(p, os.O_RDONLY)"),
    "reading": (wrong_hands, "medium.x", "open(p, 'rb'); p.open()"),
    "a method named open": (wrong_hands, "layout.x", "source.open(file)"),
    "a str method": (wrong_hands, "volume.x", "text.replace(a, b)"),
}


@pytest.mark.parametrize(("check", "module", "source"), list(FAULTS.values()), ids=list(FAULTS))
def test_each_check_sees_its_fault(check: Check, module: str, source: str) -> None:
    assert check(f"cardprep.{module}", source) != []


@pytest.mark.parametrize(("check", "module", "source"), list(RIGHT.values()), ids=list(RIGHT))
def test_each_check_lets_the_right_thing_pass(check: Check, module: str, source: str) -> None:
    assert check(f"cardprep.{module}", source) == []


def test_import_linter_holds_the_same_floors() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    layers = settings["tool"]["importlinter"]["contracts"][0]["layers"]
    held = {
        room.strip("() ").removeprefix("cardprep."): number
        for number, layer in enumerate(layers, start=1)
        for room in layer.split("|")
    }
    assert held == {room: FLOORS[room] for room in held}
    there = {room_of(module_name(path)) for path in MODULES} - {"__main__"}
    assert there - held.keys() == set()


def test_the_tables_for_developers_are_what_the_code_says() -> None:
    # Run as a program, as scripts/fix does: it only compares here.
    done = subprocess.run(
        [sys.executable, ROOT / "scripts" / "developers.py", "--check"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.stdout, done.stderr, done.returncode) == ("", "", 0)


def test_nothing_else_lies_at_the_top() -> None:
    done = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    tracked = {name.split("/")[0] for name in done.stdout.split("\0") if name}
    assert tracked - ALLOWED_AT_TOP == set()


@pytest.mark.parametrize("name", ["run.txt", "dev.txt"])
def test_the_hashed_lists_are_those_of_the_lock(name: str) -> None:
    lock = tomllib.loads((ROOT / "uv.lock").read_text(encoding="utf-8"))
    locked = {
        (package["name"], package["version"]): {
            file["hash"] for file in [*package.get("wheels", []), package.get("sdist")] if file
        }
        for package in lock["package"]
    }
    listed: dict[tuple[str, str], set[str]] = {}
    for line in (ROOT / "scripts" / "requirements" / name).read_text("utf-8").splitlines():
        if "==" in line and not line.startswith((" ", "#")):
            package, _, rest = line.partition("==")
            hashes = listed.setdefault((package, rest.split()[0]), set())
        elif "--hash=" in line:
            hashes.add(line.split("--hash=")[1].split()[0])
    assert listed
    assert {key: locked.get(key) for key in listed} == listed
