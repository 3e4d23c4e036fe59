"""A logged row as the unit meant it: a layout declares how a log is to be read, `read_log` reads it.

Layouts: `Layout.from_toml`, `layout` (shipped ones by name), `propose` and `layout_from_header`
(from an unknown log), `check` (first rows as understood).
"""

from slackwater.reading.check import CheckedRow, LayoutCheck, check
from slackwater.reading.layout import Layout
from slackwater.reading.log import NONE, STATES, Ledger, Log, RefusedRow
from slackwater.reading.propose import Proposal, Question, layout_from_header, propose
from slackwater.reading.read import read_log
from slackwater.reading.shipped import layout, layout_names

__all__ = [
    "NONE",
    "STATES",
    "CheckedRow",
    "Layout",
    "LayoutCheck",
    "Ledger",
    "Log",
    "Proposal",
    "Question",
    "RefusedRow",
    "check",
    "layout",
    "layout_from_header",
    "layout_names",
    "propose",
    "read_log",
]
