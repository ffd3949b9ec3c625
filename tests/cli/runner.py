"""Running commands on a logbook in a temporary folder, and seeing what they changed."""

import sqlite3
from pathlib import Path

from click.testing import CliRunner, Result

from scalemodel.cli.main import main

KITCHEN = ("new", "boiler", "kitchen", "--volume", "0.75", "--temperature", "93", "--installed", "2025-01-10")
START = (
    KITCHEN,
    ("new", "site", "kitchen", "gauge"),
    ("new", "water", "tap"),
    ("add", "fill", "kitchen", "2025-01-10", "tap"),
    ("add", "inspection", "kitchen", "2025-04-12", "1-2", "--site", "wall"),
)
"""Commands that make records 1 to 5."""


class Desk:
    """One logbook file and the commands run on it."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def run(self, *words: object) -> Result:
        """Run a command, whatever comes of it."""
        return CliRunner().invoke(main, ["--logbook", str(self.path), *map(str, words)])

    def do(self, *words: object) -> str:
        """Run a command that has to succeed, without a word on standard error; gives its output."""
        result = self.run(*words)
        assert (result.exit_code, result.stderr) == (0, ""), result.output
        return result.stdout

    def refuse(self, *words: object) -> str:
        """Run a command that has to be refused, with nothing changed; gives its one line."""
        before = self.dump()
        result = self.run(*words)
        assert result.exit_code == 2, result.output
        assert result.stdout == ""
        assert result.stderr.startswith("error: ")
        assert result.stderr.count("\n") == 1, result.stderr
        assert self.dump() == before
        return result.stderr.removeprefix("error: ").rstrip("\n")

    def dump(self) -> str | None:
        """All that the logbook holds, as SQL; None while there is no file."""
        if not self.path.exists():
            return None
        connection = sqlite3.connect(self.path)
        try:
            return "\n".join(connection.iterdump())
        finally:
            connection.close()
