"""What an audit asks over many drains: figures, charts, and how a rule would have fared. Values in, values out.

None of it is about one patient, and none of it decides. docs/statistics.md says what each figure is and how it was
checked.
"""
