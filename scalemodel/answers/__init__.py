"""Answers that are kept: the same facts and question are solved once, in worker processes."""
