"""Sheets for hands and paper: one value in words, from the same assessment as the screen; set as PDF and as HTML."""
