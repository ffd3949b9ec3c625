"""docs/promises.md: every promise names tests, and every test that it names is there."""

import ast
import re
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
PACKAGE = TESTS.parent / "scalemodel"
PAGE = TESTS.parent / "docs" / "promises.md"
TABLES = PAGE.read_text(encoding="utf-8").count("| promise |")
NETWORK = {"socket", "ssl", "urllib.request", "http", "ftplib", "smtplib", "requests", "httpx", "aiohttp", "webbrowser"}


def promises() -> list[tuple[str, list[str]]]:
    """Each promise of the page with the tests that it names."""
    rows = re.findall(r"^\| (?!promise|---)(.+?) \| (.+?) \|$", PAGE.read_text(encoding="utf-8"), re.M)
    return [(promise, re.findall(r"`([^`]+)`", kept_by)) for promise, kept_by in rows]


def is_there(name: str) -> bool:
    """Whether a test of that path and name is written, and not skipped for good."""
    path, _, function = name.partition("::")
    file = TESTS / path
    if not file.is_file():
        return False
    for node in ast.parse(file.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef) and node.name == function:
            marks = {ast.unparse(mark).partition("(")[0] for mark in node.decorator_list}
            return function.startswith("test_") and not marks & {"pytest.mark.skip", "pytest.mark.xfail"}
    return False


NAMED = sorted({name for _, names in promises() for name in names})


@pytest.mark.parametrize("name", NAMED)
def test_a_test_that_keeps_a_promise_is_there(name):
    assert is_there(name), f"docs/promises.md names {name}, which is gone"


def test_every_promise_names_a_test():
    found = promises()
    assert len(found) == sum(line.startswith("| ") for line in PAGE.read_text().splitlines()) - TABLES
    assert all(names for _, names in found)


def test_a_test_that_is_gone_is_missed():
    name = NAMED[0]
    assert is_there(name)
    assert not is_there(name + "_no_more")
    assert not is_there("no_such_file.py::" + name.partition("::")[2])
    assert not is_there("test_promises.py::promises")


SERVER = {"flask", "waitress", "werkzeug", "segno"}


def network_of(source: str) -> set[str]:
    """The modules of a network, or of a server, that a source imports anywhere."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        found |= {part for name in names for part in (name, name.split(".")[0])} & (NETWORK | SERVER)
    return found


def test_no_module_but_serve_speaks_to_a_network():
    """And serve only listens: it imports nothing that fetches, and its one outward socket sends nothing."""
    for path in PACKAGE.rglob("*.py"):
        source = path.read_text(encoding="utf-8")
        allowed = {"socket", *SERVER} if path.parent.name == "serve" else set()
        assert network_of(source) <= allowed, path
        if "socket" in network_of(source):
            assert not re.search(r"\.(send\w*|create_connection|makefile)\(", source), path


def test_what_speaks_to_a_network_is_found():
    assert network_of("def f():\n    from urllib.request import urlopen") == {"urllib.request"}
    assert network_of("import http.client as c") == {"http"}
    assert network_of("from flask import Flask") == {"flask"}
    assert network_of("from urllib.parse import quote") == set()
