"""Secrets, of which only hashes are kept, and small files that their owner alone reads."""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

from scalemodel.atomic import beside


def new_token(count: int) -> str:
    """A secret of so many random bytes, as text for an address."""
    return secrets.token_urlsafe(count)


def hash_of(token: str) -> bytes:
    """What is kept of a secret, and compared."""
    return sha256(token.encode("utf-8", "surrogatepass")).digest()


def read_private(file: Path | None) -> bytes | None:
    """What a file holds; None if there is none, or it cannot be read."""
    try:
        return None if file is None else file.read_bytes()
    except OSError:
        return None


def write_private(file: Path | None, content: bytes) -> None:
    """Keep a file, whole or not at all, for its owner alone to read; where that cannot be, memory has to do."""
    if file is None:
        return
    with suppress(OSError):
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with beside(file) as part:
            with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as opened:
                opened.write(content)
            os.replace(part, file)
