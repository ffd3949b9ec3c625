"""How large a simulated fleet may be, and what it is where nothing else is asked for."""

from __future__ import annotations

from datetime import date

LAST_DAY = date(2026, 11, 1)
"""The records of a fleet end on this day, if none is given."""

MOST_BOILERS = 1_000_000
LOOKS, MOST_LOOKS = 10, 400
