"""Carrying a descale out: acid, rinse, steps and cautions, and how to look inside."""
