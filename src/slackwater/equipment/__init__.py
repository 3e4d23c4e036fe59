"""Tubes, canisters and units: arithmetic with its sources."""
