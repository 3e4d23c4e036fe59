"""A patient's drain from connection to removal: who and what, and what staff charted.

Read a chart with `chart.read_chart`, an episode with `episode.read_episode`, ask `fluid` for
bounded totals and `space` for the entries that concern a drain, its pleural space or the patient.
"""
