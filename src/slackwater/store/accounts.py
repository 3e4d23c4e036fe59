"""Who may log in and who is logged in. Tokens are kept as hashes; a backup holds neither these nor passwords.

Persons and their roles are nouns of the ledger; an account only lets a person in.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass

from sqlalchemy import BigInteger, Column, Index, Integer, Table, Text, delete, insert, select, update
from sqlalchemy.exc import IntegrityError

from slackwater.errors import RecordError
from slackwater.store.record import Record
from slackwater.store.tables import metadata

ACCOUNT = Table(
    "account",
    metadata,
    Column("person", Text, primary_key=True),
    Column("login", Text, nullable=False, unique=True),
    Column("password", Text),  # argon2's own text; None: only by the hospital's own log-in
    Column("failed", Integer, nullable=False),
    Column("wait_until_ms", BigInteger, nullable=False),
)
SESSION = Table(
    "session",
    metadata,
    Column("token", Text, primary_key=True),  # SHA-256 of what the browser holds
    Column("person", Text, nullable=False),
    Column("csrf", Text, nullable=False),
    Column("began_ms", BigInteger, nullable=False),
    Column("seen_ms", BigInteger, nullable=False),
    Column("locked", Integer, nullable=False),
)
Index("ix_session_person", SESSION.c.person)


@dataclass(frozen=True)
class Account:
    """One person's way in. `wait_until_ms`: after failures the next try must wait (UTC ms)."""

    person: str
    login: str
    password: str | None
    failed: int
    wait_until_ms: int


@dataclass(frozen=True)
class Session:
    """One browser that a person uses. Instants are UTC ms."""

    token: str
    person: str
    csrf: str
    began_ms: int
    seen_ms: int
    locked: bool


def put_account(record: Record, person: str, login: str, password: str | None) -> None:
    """Let a person in, or change login and password. RecordError where another one has that login."""
    name = login.strip().lower()
    if not name or len(name) > 80 or any(letter.isspace() or not letter.isprintable() for letter in name):
        raise RecordError(
            f"{login[:40]!r} is no login", where="account", mend="Write letters and digits, without spaces."
        )
    row = {"person": person, "login": name, "password": password, "failed": 0, "wait_until_ms": 0}
    try:
        with record.writing() as connection:
            connection.execute(delete(ACCOUNT).where(ACCOUNT.c.person == person))
            connection.execute(insert(ACCOUNT), [row])
    except IntegrityError as error:
        raise RecordError(f"{name!r} is another person's login", where="account", mend="Choose another.") from error


def account_of(record: Record, *, login: str | None = None, person: str | None = None) -> Account | None:
    """The account with this login, or of this person."""
    if login is not None and not login.isprintable():
        return None  # none is entered so, and no database need be asked
    wanted = ACCOUNT.c.login == login.strip().lower() if login is not None else ACCOUNT.c.person == person
    with record.reading() as connection:
        row = connection.execute(select(ACCOUNT).where(wanted)).first()
    return None if row is None else Account(**row._mapping)


def any_account(record: Record) -> bool:
    with record.reading() as connection:
        return connection.execute(select(ACCOUNT.c.person).limit(1)).first() is not None


def count_failure(record: Record, person: str, now_ms: int, wait_ms: int) -> None:
    """A wrong password: the next try of this account waits. Nobody is ever locked out for good."""
    with record.writing() as connection:
        connection.execute(
            update(ACCOUNT)
            .where(ACCOUNT.c.person == person)
            .values(failed=ACCOUNT.c.failed + 1, wait_until_ms=now_ms + wait_ms)
        )


def open_session(record: Record, person: str, now_ms: int, over_ms: int) -> tuple[str, Session]:
    """A new session: what the browser keeps, and the session. Failures are forgotten.

    over_ms: sessions that began before that are over, and go (UTC ms).
    """
    told = secrets.token_urlsafe(32)
    session = Session(token_of(told), person, secrets.token_urlsafe(24), now_ms, now_ms, False)
    with record.writing() as connection:
        connection.execute(update(ACCOUNT).where(ACCOUNT.c.person == person).values(failed=0, wait_until_ms=0))
        connection.execute(delete(SESSION).where(SESSION.c.began_ms < over_ms))
        connection.execute(insert(SESSION), [{**vars(session), "locked": 0}])
    return told, session


def session_of(record: Record, told: str) -> Session | None:
    """The session of what a browser holds."""
    with record.reading() as connection:
        row = connection.execute(select(SESSION).where(SESSION.c.token == token_of(told))).first()
    return None if row is None else Session(**{**row._mapping, "locked": bool(row.locked)})


def mark_session(record: Record, session: Session, *, seen_ms: int | None = None, locked: bool | None = None) -> None:
    """The session was used, locked or unlocked."""
    values: dict[str, int] = {}
    if seen_ms is not None:
        values["seen_ms"] = seen_ms
    if locked is not None:
        values["locked"] = int(locked)
    with record.writing() as connection:
        connection.execute(update(SESSION).where(SESSION.c.token == session.token).values(**values))


def close_sessions(record: Record, *, token: str | None = None, person: str | None = None) -> None:
    """End one session, or all of a person's."""
    with record.writing() as connection:
        connection.execute(
            delete(SESSION).where(SESSION.c.token == token if token is not None else SESSION.c.person == person)
        )


def token_of(told: str) -> str:
    """What is kept of a token, so that the database alone lets nobody in."""
    return hashlib.sha256(told.encode()).hexdigest()
