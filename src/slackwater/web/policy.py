"""Who may do what: every route of the server has a line here, and a route without one is refused."""

from __future__ import annotations

from dataclasses import dataclass

from slackwater.store.nouns import ROLES

EVERYONE = frozenset(ROLES)
BEDSIDE = frozenset({"nurse", "specialist_nurse", "physiotherapist", "registrar", "surgeon"})
NURSES = frozenset({"nurse", "specialist_nurse"})
DOCTORS = frozenset({"registrar", "surgeon"})
REMOVERS = DOCTORS | {"specialist_nurse"}
APPROVERS = frozenset({"surgeon", "specialist_nurse"})
KEEPERS = frozenset({"keeper"})


@dataclass(frozen=True)
class Rule:
    """roles: who may. None: anyone, logged in or not. drain: the path names a drain that must be in the person's wards.

    looks: opening it is kept in the record of who looked, under this word.
    """

    roles: frozenset[str] | None
    drain: bool = False
    looks: str = ""


ANYONE = Rule(None)
SIGNED_IN = Rule(EVERYONE)

POLICY: dict[tuple[str, str], Rule] = {
    ("GET", "/healthz"): ANYONE,
    ("GET", "/static/{path:path}"): ANYONE,
    ("GET", "/first"): ANYONE,
    ("POST", "/first"): ANYONE,
    ("GET", "/login"): ANYONE,
    ("POST", "/login"): ANYONE,
    ("POST", "/unlock"): ANYONE,  # it checks the password itself
    ("POST", "/touch"): SIGNED_IN,
    ("POST", "/lock"): SIGNED_IN,
    ("POST", "/logout"): SIGNED_IN,
    ("GET", "/"): Rule(EVERYONE, looks="round"),
}
"""(method, path as the route has it) -> rule. Each file of `routes` adds its own lines by `allow`."""


def allow(method: str, path: str, rule: Rule) -> None:
    """Give a route its rule; once only."""
    if (method, path) in POLICY:
        raise ValueError(f"{method} {path} has a rule already")
    POLICY[(method, path)] = rule


def may(role: str, page: str) -> bool:
    """Whether a person of this role may open that page; False where there is no such page."""
    rule = POLICY.get(("GET", page))
    return rule is not None and (rule.roles is None or role in rule.roles)
