"""Many boilers together."""
