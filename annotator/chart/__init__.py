"""The fingering chart of an instrument."""
