"""The order of the rooms, which DEVELOPERS.md prints; what each may import, and what a plain question may load.

Every import counts, wherever it stands: inside a function, or for a type alone. What is not known is refused.
"""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "scalemodel"
DEVELOPERS = PACKAGE.parent / "DEVELOPERS.md"
FRONT_DOOR = "__init__"
"""The package's own file: it names public functions and loads their modules when they are used."""

ORDER = re.search(r"^    (errors(?: -> \w+)+)$", DEVELOPERS.read_text(encoding="utf-8"), re.M)[1].split(" -> ")
HEAVY = {
    "pymc",
    "arviz",
    "pandas",
    "matplotlib",
    "xarray",
    "pytensor",
    "dask",
    "distributed",
    "jinja2",
    "PIL",
    "icalendar",
} | {
    "flask",
    "waitress",
    "segno",
}
UNUSED = {
    *("scipy.stats", "scipy.optimize", "scipy.interpolate", "scipy.integrate", "scipy.sparse", "scipy.linalg"),
    *("multiprocessing", "concurrent.futures.process", "asyncio", "tomllib", "click.shell_completion"),
    *("scalemodel.logbook.csv_folder", "scalemodel.logbook.verify", "scalemodel.inference.arviz_tree"),
}
"""What a plain question has no use for, however light: a cold start pays for whatever is loaded."""

ARITHMETIC = {"water", "model", "inference", "decision", "descaling", "validation"}
MAY_IMPORT = {
    "numpy": ARITHMETIC | {"report", "fleet"},
    "scipy": ARITHMETIC | {"fleet"},
    "pandas": {"frames", "decision", "validation"},
    "distributed": {"answers", "fleet"},
    "pymc": {"validation", "fleet"},
    "pytensor": {"validation", "fleet"},
    "arviz": {"inference", "validation"},
    "xarray": {"inference"},
    "matplotlib": {"report"},
    "jinja2": {"report", "serve"},
    "markupsafe": {"report"},
    "flask": {"serve"},
    "werkzeug": {"serve"},
    "waitress": {"serve"},
    "segno": {"serve"},
    "click": {"cli"},
    "PIL": {"logbook"},
    "icalendar": {"report"},
}
"""Which rooms may import what is not of the standard library."""

BY_NAME = {"scalemodel/__init__.py", "scalemodel/cli/main.py"}
"""The only files that import a module whose name they look up."""

NO_MODULES = {"scalemodel.__version__"}


def module_name(path: Path) -> str:
    return ".".join(["scalemodel", *path.with_suffix("").parts]).removesuffix(".__init__")


MODULES = {module_name(p): p for p in sorted(p.relative_to(PACKAGE) for p in PACKAGE.rglob("*.py"))}
SOURCES = {name: (PACKAGE / path).read_text(encoding="utf-8") for name, path in MODULES.items()}
EACH = pytest.mark.parametrize("name", MODULES)


def imported(source: str, top_level_only: bool = False) -> Iterator[str]:
    """Every module that a source imports, by its whole name; of ours the module that holds the name."""
    tree = ast.parse(source)
    for node in ast.iter_child_nodes(tree) if top_level_only else ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative import"
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                yield inner if inner in MODULES or node.module == "scalemodel" else node.module


def room_of(name: str) -> str:
    """The room of one of our modules; the package's own file is a room by itself."""
    return name.split(".")[1] if "." in name else FRONT_DOOR


def fault(importer: str, target: str) -> str | None:
    """What is wrong with an import; None if nothing is."""
    mine, outer = room_of(importer), target.split(".")[0]
    if outer in sys.stdlib_module_names:
        return None
    if outer != "scalemodel":
        if outer not in MAY_IMPORT:
            return f"{target} is not known"
        return None if mine in MAY_IMPORT[outer] else f"{mine} may not import {outer}"
    if target in NO_MODULES:
        return None
    if target not in MODULES:
        return f"there is no module {target}"
    theirs = room_of(target)
    for room in (mine, theirs):
        if room not in ORDER:
            return f"{room} is no room of DEVELOPERS.md"
    return None if ORDER.index(theirs) <= ORDER.index(mine) else f"{mine} comes before {theirs}"


def circle(edges: dict[str, set[str]]) -> list[str] | None:
    """Modules that import each other in a ring; None where there is no ring."""
    path, done = [], set()

    def visit(name: str) -> list[str] | None:
        if name in path:
            return path[path.index(name) :]
        if name in done:
            return None
        path.append(name)
        found = next((ring for target in sorted(edges[name]) if (ring := visit(target))), None)
        path.pop()
        done.add(name)
        return found

    return next((ring for name in edges if (ring := visit(name))), None)


def edges_between(sources: dict[str, str]) -> dict[str, set[str]]:
    """Our imports by module, all of them; a module that imports names of itself is none."""
    return {name: {t for t in imported(source) if t in sources} for name, source in sources.items()}


@EACH
def test_a_room_imports_only_what_it_may(name):
    if name == "scalemodel":
        assert not [target for target in imported(SOURCES[name]) if target.split(".")[0] == "scalemodel"]
        return
    assert not [wrong for target in imported(SOURCES[name]) if (wrong := fault(name, target))]


def test_the_order_names_every_room_and_no_other():
    there = {path.parts[0].removesuffix(".py") for path in MODULES.values()} - {FRONT_DOOR}
    assert len(ORDER) == len(set(ORDER))
    assert set(ORDER) == there


def test_every_room_is_told_of():
    rows = re.findall(r"^\| `(\w+)(?:\.py|/)` \|", DEVELOPERS.read_text(encoding="utf-8"), re.M)
    assert rows == ORDER


@pytest.mark.parametrize(
    ("importer", "source", "said"),
    [
        ("scalemodel.logbook.store", "from scalemodel.decision import cost", "logbook comes before decision"),
        ("scalemodel.decision.cost", "def f():\n    import scalemodel.words.answer", "decision comes before words"),
        ("scalemodel.model.use", "if TYPE_CHECKING:\n    import scalemodel.api", "model comes before api"),
        ("scalemodel.attic.box", "from scalemodel.errors import BadValueError", "attic is no room of DEVELOPERS.md"),
        ("scalemodel.cli.main", "import scalemodel.attic", "there is no module scalemodel.attic"),
        ("scalemodel.cli.main", "import requests", "requests is not known"),
        ("scalemodel.logbook.store", "import numpy as np", "logbook may not import numpy"),
        ("scalemodel.words.answer", "import click", "words may not import click"),
    ],
)
def test_what_is_not_allowed_is_refused(importer, source, said):
    assert [fault(importer, target) for target in imported(source)] == [said]


@EACH
def test_heavy_imports_stand_inside_functions(name):
    loaded = set(imported(SOURCES[name], top_level_only=True))
    assert not {target.split(".")[0] for target in loaded} & HEAVY
    assert "scipy.stats" not in loaded


@EACH
def test_modules_are_imported_by_their_names(name):
    if f"scalemodel/{MODULES[name].as_posix()}" not in BY_NAME:
        assert not re.search(r"\bimport_module\b|\b__import__\b", SOURCES[name])


@EACH
def test_modules_stay_small(name):
    assert len(SOURCES[name].splitlines()) <= 420


def test_no_import_circles():
    assert circle(edges_between(SOURCES)) is None


def test_a_circle_for_a_type_alone_is_found():
    ring = {"a": "if TYPE_CHECKING:\n    import b", "b": "def f():\n    from c import x", "c": "import a"}
    assert circle(edges_between(ring)) == ["a", "b", "c"]


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


@pytest.mark.parametrize(
    "question",
    [
        ("defer", "loft-brew", "--particles", "100"),
        ("due",),
        ("history", "loft-brew"),
        ("add", "use", "--help"),
        ("--help",),
    ],
)
def test_a_plain_question_loads_nothing_that_it_does_not_use(demo_logbook, question):
    assert not loaded_by("--logbook", demo_logbook, *question) & (UNUSED | HEAVY)


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no /proc")
def test_a_cold_question_stays_small(demo_logbook):
    """The most that is resident: some 52 MB of it NumPy and SciPy, which a question cannot do without."""
    code = (
        "import re\nfrom scalemodel.cli.main import main\n"
        f"try:\n    main({['--logbook', demo_logbook, 'defer', 'loft-brew', '--particles', '500']!r})\n"
        "except SystemExit as stop:\n    assert not stop.code, stop.code\n"
        "print('PEAK', re.search(r'VmHWM:\\s*(\\d+) kB', open('/proc/self/status').read())[1])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=PACKAGE.parent)
    assert int(done.stdout.rsplit("PEAK", 1)[1]) < 95_000
