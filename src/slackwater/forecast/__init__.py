"""When the rule is likely to hold, with an honest interval or a refusal. An estimate; never a clause."""
