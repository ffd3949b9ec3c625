"""The ledger with its photographs, which are read one by one: they are large."""

from __future__ import annotations

from scalemodel.errors import BadValueError
from scalemodel.logbook import album, database
from scalemodel.logbook.ledger import Ledger
from scalemodel.logbook.photographs import Photograph


class Pictures(Ledger):
    """What a logbook tells of its photographs."""

    def photographs(self, number: int) -> tuple[Photograph, ...]:
        """The photographs of a record, in their order; BadValueError if there is no such record."""
        with self.reading():
            self.entry(number)
            found = (self.photograph(sha256) for sha256 in album.hashes(self._connection, number))
            return tuple(found)

    def photograph(self, sha256: str) -> Photograph:
        """The photograph of a hash; BadValueError if there is none."""
        with database.said_plainly(self._place):
            found = album.photograph(self._connection, sha256)
        if found is None:
            raise BadValueError("photo", sha256, "the SHA-256 of a photograph in the logbook")
        return found

    def has_photograph(self, sha256: str) -> bool:
        """Whether the logbook holds a photograph of that hash."""
        with database.said_plainly(self._place):
            return album.is_held(self._connection, sha256)
