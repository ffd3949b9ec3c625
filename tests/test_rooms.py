"""The order of the rooms, and what a plain question may load."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "scalemodel"
ORDER = [
    "errors",
    "wording",
    "logbook",
    "water",
    "model",
    "inference",
    "decision",
    "descaling",
    "validation",
    "words",
    "report",
    "api",
    "cli",
]
HEAVY = {"pymc", "arviz", "pandas", "matplotlib", "xarray", "pytensor", "dask"}
MODULES = sorted(p.relative_to(PACKAGE) for p in PACKAGE.rglob("*.py"))


def imports(path: Path, top_level_only: bool):
    tree = ast.parse((PACKAGE / path).read_text(encoding="utf-8"))
    nodes = ast.iter_child_nodes(tree) if top_level_only else ast.walk(tree)
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def room(dotted: str) -> str | None:
    parts = dotted.split(".")
    return parts[1] if parts[0] == "scalemodel" and len(parts) > 1 and parts[1] in ORDER else None


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_a_room_imports_only_rooms_before_it(path):
    mine = path.parts[0].removesuffix(".py")
    if mine not in ORDER:
        return  # scalemodel/__init__.py names public functions and loads them when used
    for name in imports(path, top_level_only=False):
        if (theirs := room(name)) is not None:
            assert ORDER.index(theirs) <= ORDER.index(mine), f"{path} imports {name}"


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_heavy_imports_stand_inside_functions(path):
    loaded = {name.split(".")[0] for name in imports(path, top_level_only=True)}
    assert not loaded & HEAVY
    assert "scipy.stats" not in set(imports(path, top_level_only=True))


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_modules_stay_small(path):
    assert len((PACKAGE / path).read_text(encoding="utf-8").splitlines()) <= 420


def test_no_import_circles():
    edges = {}
    for path in MODULES:
        dotted = ".".join(["scalemodel", *path.with_suffix("").parts]).removesuffix(".__init__")
        edges[dotted] = {n for n in imports(path, top_level_only=True) if n and n.startswith("scalemodel.")}
    visiting, done = set(), set()

    def visit(name):
        assert name not in visiting, f"import circle through {name}"
        if name in done or name not in edges:
            return
        visiting.add(name)
        for target in edges[name]:
            visit(target)
        visiting.discard(name)
        done.add(name)

    for name in edges:
        visit(name)


def loaded_by(*arguments: str) -> set[str]:
    code = (
        "import sys\nfrom scalemodel.cli.main import main\n"
        f"try:\n    main({list(arguments)!r})\nexcept SystemExit as stop:\n    assert not stop.code, stop.code\n"
        "print('LOADED', *sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=PACKAGE.parent)
    return set(done.stdout.rsplit("LOADED", 1)[1].split())


@pytest.fixture(scope="module")
def demo_logbook(tmp_path_factory):
    path = tmp_path_factory.mktemp("rooms") / "logbook.sqlite3"
    loaded_by("--logbook", str(path), "import", str(PACKAGE.parent / "data" / "demo"))
    return str(path)


def test_help_and_records_need_no_numpy(tmp_path):
    assert not loaded_by("--help") & {"numpy", "scipy", *HEAVY}
    added = loaded_by(
        "--logbook",
        str(tmp_path / "b.sqlite3"),
        "new",
        "boiler",
        "k",
        "--volume",
        "1",
        "--temperature",
        "93",
        "--installed",
        "2026-01-01",
    )
    assert not added & {"numpy", "scipy", *HEAVY}


@pytest.mark.parametrize(
    "question",
    [("defer", "loft-brew"), ("risk", "loft-brew", "--on", "2026-12-31"), ("descale-plan", "mill-steam")],
)
def test_a_plain_question_loads_nothing_heavy(demo_logbook, question):
    loaded = loaded_by("--logbook", demo_logbook, *question, "--as-of", "2026-11-01")
    assert "numpy" in loaded
    assert not loaded & {"scipy.stats", *HEAVY}
