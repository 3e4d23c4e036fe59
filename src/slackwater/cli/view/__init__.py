"""Terminal text: the answer first, doubts and missing beside it, then the evidence."""
