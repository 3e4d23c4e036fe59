"""The demo's ward: it lies around now, and what was charted lies before it. All invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from slackwater.cli.demo_ward import AHEAD_H, CHARTED_D, NAMES, PASSWORD, STAYS, charted_only, people, simulated
from slackwater.episode.chart import read_chart
from slackwater.store.accounts import account_of
from slackwater.store.course import course_of
from slackwater.store.nouns import ROLES
from slackwater.store.record import open_record
from slackwater.store.take_in import take_in
from slackwater.web.passwords import right

NOW = datetime(2041, 3, 7, 9, 0, tzinfo=UTC)
NOW_MS = int(NOW.timestamp() * 1000)


def test_twelve_drains_each_on_a_unit_of_its_own() -> None:
    assert len(STAYS) + 1 == 12
    on_serials = [stay.seed for stay in STAYS if stay.unit == "SANDBAR"]
    assert len(set(on_serials)) == len(on_serials)
    assert len({(stay.patient, stay.number) for stay in STAYS}) == len(STAYS)


def test_a_stay_reaches_past_now_and_its_chart_does_not(tmp_path: Path) -> None:
    stay = next(one for one in STAYS if one.course and not one.silent_h)
    bundle = simulated(stay, NOW, "+01:00")
    chart = read_chart(bundle.charts[0][1], "chart.csv")
    assert chart.entries
    assert all(entry.recorded <= NOW_MS for entry in chart.entries)
    with open_record(tmp_path / "record", create=True) as record:
        taken = take_in(record, bundle, by="tests")
        with record.reading() as connection:
            course = course_of(connection, taken.drain)
    assert course.logs[0]["last_ms"] > NOW_MS + (AHEAD_H - 1) * 3_600_000
    assert course.episode["bed"] == stay.bed
    assert course.holds[0]["from_ms"] < NOW_MS


def test_the_charted_drain_has_no_log() -> None:
    assert charted_only(NOW).logs == ()
    assert charted_only(NOW).episode.connected_at == int((NOW - timedelta(days=CHARTED_D)).timestamp() * 1000)


def test_somebody_of_every_role_gets_in_with_the_printed_password(tmp_path: Path) -> None:
    assert set(NAMES) == set(ROLES)
    with open_record(tmp_path / "record", create=True) as record:
        for login, _ in people(record):
            account = account_of(record, login=login)
            assert account is not None
            assert right(PASSWORD, account.password)
