"""What a user believes before any record."""

from __future__ import annotations

from typing import NamedTuple


class Belief(NamedTuple):
    """What a user believes of an unknown before any record, in place of the house (None: as the house does).

    ``name`` is the unknown's in a priors file, ``subject`` the site, method, inspector or water that it is of (blank:
    of every one); mean and sd are on the scale of its prior.
    """

    name: str
    subject: str
    mean: float | None
    sd: float | None
