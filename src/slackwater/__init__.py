"""slackwater: from a chest drain's log and chart to an answer, by the unit's own written rule."""

__version__ = "0.1.0"
