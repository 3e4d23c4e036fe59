"""Live intake: what units send by themselves, read strictly, kept once, and acknowledged after it is on the disk."""
