"""Where answers are kept: in memory, and in a folder of small files where that can be written.

What is kept can always be reckoned anew, so a file that is damaged, or a folder that cannot be used, is never an error.
"""

from __future__ import annotations

import json
import os
import time
from collections import OrderedDict
from contextlib import suppress
from pathlib import Path
from threading import Lock

from scalemodel.answers.told import PARTS, Dated, Drawn, Failure, NextLook, from_plain, plain
from scalemodel.atomic import beside

MOST_IN_MEMORY = 4_000
MOST_FILES = 4_000
"""Beyond so many files the oldest are removed: some two for each of a hundred boilers over twenty days."""

FRESH_SECONDS = 2 * 86_400
"""Younger files stay, however many: a list of many boilers that was broken off goes on from them."""

LOOKED_OVER = 100
"""The files are looked over once in so many writings, or in a tenth as many as there are."""

ENDING = ".json"

Part = Dated | NextLook | Drawn | Failure


class Kept:
    """Parts of answers by key and name; safe for several threads, and for several programs on one folder."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder
        self._memory: OrderedDict[tuple[str, str], Part] = OrderedDict()
        self._lock = Lock()
        self._left = 0

    def get(self, key: str, name: str) -> Part | None:
        """A part that was kept; None if it was not, or cannot be read."""
        with self._lock:
            part = self._memory.get((key, name))
        if part is None and (part := self._read(key, name)) is not None:
            self._remember(key, name, part)
        return part

    def put(self, key: str, name: str, part: Dated | NextLook | Drawn) -> None:
        """Keep a part."""
        self._remember(key, name, part)
        if self.folder is not None:
            with suppress(OSError):
                self._write(self._place(key, name), json.dumps(plain(part)))

    def put_refused(self, key: str, failure: Failure) -> None:
        """Keep, in memory, that there is no answer."""
        for name in PARTS:
            self._remember(key, name, failure)

    def _remember(self, key: str, name: str, part: Part) -> None:
        with self._lock:
            self._memory[key, name] = part
            self._memory.move_to_end((key, name))
            while len(self._memory) > MOST_IN_MEMORY:
                self._memory.popitem(last=False)

    def _place(self, key: str, name: str) -> Path:
        return self.folder / f"{key}-{name}{ENDING}"

    def _read(self, key: str, name: str) -> Dated | NextLook | Drawn | None:
        if self.folder is None:
            return None
        try:
            return from_plain(name, json.loads(self._place(key, name).read_text(encoding="utf-8")))
        except (OSError, ValueError, RecursionError):
            return None

    def _write(self, place: Path, text: str) -> None:
        """Write a file that only its owner may read; now and then remove the oldest."""
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with beside(place) as part:
            with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
                file.write(text)
            os.replace(part, place)
        if self._left == 0:
            self._left = max(LOOKED_OVER, self._thin() // 10)
        self._left -= 1

    def _thin(self) -> int:
        """Remove the oldest files beyond `MOST_FILES`, but none that is fresh; gives how many there were."""
        found = [(one.stat().st_mtime, one.path) for one in os.scandir(self.folder) if one.name.endswith(ENDING)]
        before = time.time() - FRESH_SECONDS
        for changed, path in sorted(found)[: max(0, len(found) - MOST_FILES)]:
            if changed < before:
                with suppress(OSError):
                    os.unlink(path)
        return len(found)
