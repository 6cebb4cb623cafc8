"""Measurements, never asserted: timings and counts that a person reads."""
