"""A logged row as the unit meant it.

A layout declares how a log is to be read (`layout.Layout`, `shipped.layout`); `read.read_log` reads
it into a `log.Log`; `propose.propose` drafts a layout from an unknown log,
`propose.layout_from_header` takes one whose header leaves nothing open, and `check.check` shows the
first rows as understood.
"""
