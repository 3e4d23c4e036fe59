"""Rule files: load, check, judge over named facts."""

from slackwater.protocol.evaluate import evaluate
from slackwater.protocol.evaluation import Evaluation, Judged
from slackwater.protocol.facts import Facts
from slackwater.protocol.load import load_protocol
from slackwater.protocol.rule import Protocol
from slackwater.protocol.status import Status

__all__ = ["Evaluation", "Facts", "Judged", "Protocol", "Status", "evaluate", "load_protocol"]
