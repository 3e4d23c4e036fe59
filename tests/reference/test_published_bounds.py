"""Simulated cohorts against published ranges (tests/data/real/published_reference): plausible, not alike.

The groups differ from ours (effusions at thoracentesis, not lungs after resection), so only the whole cohort is asked.
"""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np

from reference.audit_data import REAL
from slackwater.simulate import draw_lobectomy, simulate

with (REAL / "published_reference" / "published_values.csv").open(encoding="utf-8") as _file:
    PUBLISHED = {row["quantity"]: row for row in csv.DictReader(_file)}


def test_the_middle_swing_of_a_drawn_cohort_lies_within_the_published_quartiles() -> None:
    """Zielinska-Krawczyk, BMC Pulm Med 2018, doi 10.1186/s12890-018-0595-7: 3.4 (2.4 to 5.9) cmH2O, 23 patients."""
    published = PUBLISHED["pleural pressure swing, before thoracentesis"]
    assert (published["value"], published["unit"]) == ("3.4", "cmH2O")
    chance = np.random.default_rng(1)
    stays = [simulate(replace(draw_lobectomy(chance), hours=4), seed) for seed in range(12)]
    swings = [float(np.median(stay.truth.swing_cmh2o)) for stay in stays]
    assert float(published["low"]) <= float(np.median(swings)) <= float(published["high"])
    above = PUBLISHED["pleural pressure swing, after thoracentesis"]
    assert max(swings) < float(above["high"]), "none swings more than a stiff lung just emptied"
