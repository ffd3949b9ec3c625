"""The law: how scale grows, and how it is seen."""
