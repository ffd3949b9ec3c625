"""How far ahead the decisions look [days]."""

from __future__ import annotations

HORIZON_DAYS = 1460
"""A question looks four years ahead where it does not say how far."""

LONGEST_HORIZON_DAYS = 36500

FARTHEST_DAYS = 36525
"""No forecast looks farther ahead: a hundred years."""

LONGEST_INTERVAL_DAYS = 7300
"""Intervals between descales are sought within twenty years, and days of crossing so long after a trial."""

LONGEST_TRIAL_DAYS = 3650
