"""The house: who may import whom, what is packaged, and how long a file may be."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "sensorswim"
ORDER = (
    "errors",
    "units",
    "model",
    "formats",
    "video",
    "signal",
    "swim",
    "metrics",
    "findings",
    "analyse",
    "figures",
    "report",
    "export",
    "advice",
    "archive",
    "rehearsal",
    "rehearsal_film",
    "live",
    "dashboards",
    "codebook",
    "cli",
    "__main__",
)
"""Left never imports right."""

REHEARSAL_MAY = {"errors", "units", "model", "formats", "rehearsal"}
PURE = {"signal", "swim", "metrics", "findings"}
IMPURE_MODULES = {"plotly", "asyncio", "io", "os", "shutil", "tempfile", "time", "socket"}
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "CHANGELOG.md",
    "pyproject.toml",
    "sensorswim",
    "firmware_notes",
    "tests",
    "dashboards",
    "sample_logs",
}
LONGEST = 600

SOURCES = sorted([*PACKAGE.rglob("*.py"), *(ROOT / "dashboards").rglob("*.py")])


class Imports(ast.NodeVisitor):
    """Collects the modules that a file imports, wherever in the file."""

    def __init__(self) -> None:
        self.found: set[str] = set()

    def visit_Import(self, node: ast.Import) -> None:
        self.found |= {alias.name for alias in node.names}

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        assert node.level == 0, "imports are absolute"
        module = node.module or ""
        if module == "sensorswim":
            self.found |= {f"sensorswim.{alias.name}" for alias in node.names}
        else:
            self.found.add(module)


def imports_of(source: str) -> set[str]:
    visitor = Imports()
    visitor.visit(ast.parse(source))
    return visitor.found


def room_of(path: Path) -> str:
    if path.is_relative_to(ROOT / "dashboards"):
        return "dashboards"
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def rooms_imported(source: str) -> Iterator[str]:
    for module in imports_of(source):
        parts = module.split(".")
        if parts[0] == "sensorswim" and len(parts) > 1 and not parts[1].startswith("__version"):
            yield parts[1]


def wrong_imports(room: str, source: str) -> list[str]:
    """Return the rooms that a file in `room` imports though they stand to its right."""
    allowed = set(ORDER[: ORDER.index(room) + 1])
    if room == "rehearsal":
        allowed = REHEARSAL_MAY
    return sorted(set(rooms_imported(source)) - allowed)


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("path", SOURCES, ids=named)
def test_left_never_imports_right(path: Path) -> None:
    room = room_of(path)
    if room == "__init__":
        return
    assert wrong_imports(room, path.read_text("utf-8")) == []


@pytest.mark.parametrize(
    ("room", "line", "wrong"),
    [
        ("swim", "from sensorswim.figures import style", ["figures"]),
        ("swim", "from sensorswim import report", ["report"]),
        ("rehearsal", "def f():\n    import sensorswim.swim.kicks", ["swim"]),
        ("report", "from sensorswim.figures import style", []),
        ("figures", "from sensorswim import __version__", []),
    ],
)
def test_the_rule_itself_finds_a_wrong_import(room: str, line: str, wrong: list[str]) -> None:
    assert wrong_imports(room, line) == wrong


@pytest.mark.parametrize("path", [p for p in SOURCES if room_of(p) in PURE], ids=named)
def test_the_calculating_rooms_touch_no_files_clock_or_screen(path: Path) -> None:
    source = path.read_text("utf-8")
    assert {module.split(".")[0] for module in imports_of(source)} & IMPURE_MODULES == set()
    calls = [n for n in ast.walk(ast.parse(source)) if isinstance(n, ast.Call)]
    names = {ast.unparse(call.func) for call in calls}
    assert not names & {"open", "print", "Path", "datetime.now", "pathlib.Path"}


def test_every_folder_with_code_is_packaged_and_nothing_else() -> None:
    listed = set(
        tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"][
            "packages"
        ]
    )
    inside = {".".join(p.parent.relative_to(ROOT).parts) for p in PACKAGE.rglob("__init__.py")}
    apps = {
        f"sensorswim.dashboards.{p.parent.name}"
        for p in (ROOT / "dashboards").glob("*/__init__.py")
    }
    assert listed == inside | apps


@pytest.mark.parametrize("folder", sorted({p.parent for p in SOURCES}), ids=named)
def test_every_folder_with_code_is_a_package(folder: Path) -> None:
    assert (folder / "__init__.py").is_file()


@pytest.mark.parametrize("path", SOURCES, ids=named)
def test_no_file_grows_too_long(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) < LONGEST


def test_the_top_level_holds_the_house_and_nothing_else() -> None:
    own = {"results", "build", "dist", "mutants"}
    present = {
        p.name
        for p in ROOT.iterdir()
        if not p.name.startswith(".") and p.suffix != ".egg-info" and p.name not in own
    }
    assert present <= TOP_LEVEL
