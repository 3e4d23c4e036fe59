"""A rule with nobody named in it: it judges as before, and what was typed freely into it is left out or a pseudonym.

What a rule is for tells enough of its house; its file is named by its hash, so that whoever has it knows which it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache

from slackwater.episode.episode import INDICATIONS, OPERATIONS
from slackwater.episode.pseudonyms import NOT_NAMED, pseudonym
from slackwater.protocol.measures import MEASURES
from slackwater.protocol.population import EXCLUDABLE
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.shipped import shipped, shipped_names

LISTED = frozenset((*INDICATIONS, *OPERATIONS, *EXCLUDABLE))
_VERSION = re.compile(r"[0-9]{1,3}(\.[0-9]{1,3}){0,2}", re.ASCII)


def plain_rule(rule: Protocol, key: bytes) -> Protocol:
    """The rule without its people and its own prose, with pseudonyms for names and words that are on no list."""
    word = plain_word_of(key)
    applies = replace(
        rule.applies,
        indication=tuple(word(one) for one in rule.applies.indication),
        excludes=tuple(word(one) for one in rule.applies.excludes),
    )
    return replace(
        rule,
        name=rule.name if rule.name in shipped_names() else f"rule-{pseudonym(key, 'rule', rule.name)[:8]}",
        version=rule.version if _VERSION.fullmatch(rule.version) else pseudonym(key, "version", rule.version)[:8],
        approved_by=NOT_NAMED, source="", notes="", file_name="", applies=applies, removal=_plain(rule.removal),
        step_down=_plain(rule.step_down), home=_plain(rule.home), escalation=_plain(rule.escalation),
        schedule=tuple(replace(due, source="") for due in rule.schedule),
        trip=None if rule.trip is None else replace(rule.trip, source=""),
    )  # fmt: skip


def plain_word_of(key: bytes) -> Callable[[str], str]:
    """A word of an episode or of a rule, as it may be told: one of the lists, or a pseudonym, the same in both."""
    return lambda word: word if word in LISTED else pseudonym(key, "word", word)


def _plain(clauses: tuple[Clause, ...]) -> tuple[Clause, ...]:
    """Without prose. An id that is not made of words for what is measured may name somebody: its measure and place."""
    known = _words_of_ids()
    kept = [clause.id for clause in clauses if set(re.split("[_-]", clause.id)) <= known]
    out = []
    for place, clause in enumerate(clauses, start=1):
        id_ = clause.id
        if id_ not in kept:
            id_ = f"{clause.measure_name}-{place}"
            while id_ in kept:
                id_ += "-x"
        out.append(replace(clause, id=id_, source="", say=""))
    return tuple(out)


@cache
def _words_of_ids() -> frozenset[str]:
    """Of which a clause's id may be made: words of the measures and of the shipped rules' ids, and small numbers."""
    rules = [shipped(name) for name in shipped_names()]
    ids = [clause.id for rule in rules for part in (rule.removal, rule.step_down, rule.home, rule.escalation)
           for clause in part]  # fmt: skip
    words = {word for name in (*MEASURES, *ids) for word in re.split("[_-]", name)}
    return frozenset((*words, *map(str, range(100))))
