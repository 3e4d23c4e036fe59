"""What the keeper of the server chooses. Nothing clinical is here: limits live in protocols."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, tzinfo

from slackwater.store.place import Place
from slackwater.store.record import utc_ms
from slackwater.teach.practice import Practice


@dataclass(frozen=True)
class Hospital:
    """The hospital's own log-in. issuer, client, secret: as its server gives them out; no secret for a public client.

    claim: what of the token is the login under which the keeper entered the person.
    """

    issuer: str
    client: str
    secret: str = field(default="", repr=False)
    claim: str = "sub"


@dataclass(frozen=True)
class Settings:
    """place: the record. zone: the ward's clock. idle_s: a screen that nobody touched so long asks who is there.

    secure: cookies only over TLS, which a proxy of the hospital speaks; off only for this machine itself.
    judges: processes that work out answers beside the server. hospital: None where people log in here alone.
    practice: how long the unit holds a kind of exercise current; None: it does not say.
    """

    place: Place
    zone: tzinfo = UTC
    zone_name: str = "UTC"
    idle_s: int = 300
    session_s: int = 12 * 3600
    secure: bool = True
    judges: int = 1
    demo: bool = False
    hospital: Hospital | None = None
    practice: Practice | None = None
    clock: Callable[[], int] = field(default=utc_ms)
