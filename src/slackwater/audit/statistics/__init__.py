"""Figures with their intervals, charts and tests, each held against a library and published values."""
