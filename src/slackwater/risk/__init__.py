"""Published scores for a prolonged air leak: one file each, exactly as published, refusing outside their population.

A score sorts groups of past patients. It is no chance for this patient, no clause, and never a removal rule.
"""

from slackwater.risk.inputs import RiskInputs
from slackwater.risk.published import scores
from slackwater.risk.read import read_risk_inputs
from slackwater.risk.score import Score

__all__ = ["RiskInputs", "Score", "read_risk_inputs", "scores"]
