"""slackwater: from a chest drain's log and chart to an answer, by the unit's own written rule.

>>> sorted(set(__all__)) == sorted(__all__)
True
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

# Each public name and the room it lives in. Loaded on first use, so that `slackwater --help` stays light.
_PUBLIC = {
    "Assessment": "slackwater.assessment.assessment",
    "Chart": "slackwater.episode.types",
    "Episode": "slackwater.episode.types",
    "Layout": "slackwater.reading.layout",
    "Log": "slackwater.reading.log",
    "Protocol": "slackwater.protocol.rule",
    "SlackwaterError": "slackwater.errors",
    "Status": "slackwater.protocol.status",
    "assess": "slackwater.assessment.assess",
    "document": "slackwater.assessment.document",
    "load_protocol": "slackwater.protocol.load",
    "minute_csv": "slackwater.assessment.minute_table",
    "read_chart": "slackwater.episode.chart",
    "read_episode": "slackwater.episode.episode",
    "read_log": "slackwater.reading.read",
    "shipped_protocol": "slackwater.protocol.shipped",
    "simulate": "slackwater.simulate.stay",
}

__all__ = [
    "Assessment",
    "Chart",
    "Episode",
    "Layout",
    "Log",
    "Protocol",
    "SlackwaterError",
    "Status",
    "__version__",
    "assess",
    "document",
    "load_protocol",
    "minute_csv",
    "read_chart",
    "read_episode",
    "read_log",
    "shipped_protocol",
    "simulate",
]

if TYPE_CHECKING:
    from slackwater.assessment.assess import assess
    from slackwater.assessment.assessment import Assessment
    from slackwater.assessment.document import document
    from slackwater.assessment.minute_table import minute_csv
    from slackwater.episode.chart import read_chart
    from slackwater.episode.episode import read_episode
    from slackwater.episode.types import Chart, Episode
    from slackwater.errors import SlackwaterError
    from slackwater.protocol.load import load_protocol
    from slackwater.protocol.rule import Protocol
    from slackwater.protocol.shipped import shipped as shipped_protocol
    from slackwater.protocol.status import Status
    from slackwater.reading.layout import Layout
    from slackwater.reading.log import Log
    from slackwater.reading.read import read_log
    from slackwater.simulate.stay import simulate


def __getattr__(name: str) -> Any:
    if name not in _PUBLIC:
        raise AttributeError(f"module 'slackwater' has no attribute {name!r}")
    found = getattr(import_module(_PUBLIC[name]), {"shipped_protocol": "shipped"}.get(name, name))
    globals()[name] = found
    return found
