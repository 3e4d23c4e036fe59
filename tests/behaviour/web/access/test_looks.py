"""Who looked at what is written by itself within seconds, and what could not be written is tried again."""

from __future__ import annotations

from pathlib import Path

import pytest

from slackwater.errors import SlackwaterError
from slackwater.store.acts import key_of
from slackwater.store.record import Record, open_record
from slackwater.web import looks
from ward import a_ward
from ward.until import until

DRAIN = key_of("drain", key_of("patient", "W-1"), "1")
NURSE = key_of("person", "nurse")


def a_record(folder: Path) -> Record:
    return open_record(a_ward.place_in(folder), clock=a_ward.Clock())


def test_a_look_is_written_without_being_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(looks, "EVERY_S", 0.05)
    with a_record(tmp_path) as record:
        kept = looks.Looks(record)
        try:
            kept.saw(NURSE, "drain", DRAIN)
            assert kept.seen(NURSE, "drain", DRAIN) and not kept.seen(NURSE, "chart", DRAIN)
            until(lambda: record.things("look"))
            (one,) = record.things("look")
            assert (one["person"], one["what"], one["drain"]) == (NURSE, "drain", DRAIN)
        finally:
            kept.close()


def test_what_cannot_be_written_is_said_and_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(looks, "EVERY_S", 3600.0)
    with a_record(tmp_path) as record:
        kept = looks.Looks(record)

        def full(*_: object, **__: object) -> None:
            raise SlackwaterError("the disk is full")

        with monkeypatch.context() as broken:
            broken.setattr(record, "act", full)
            kept.saw(NURSE, "drain", DRAIN)
            kept.flush()
            assert kept.failed == "the disk is full"
        kept.close()
        assert kept.failed is None and len(record.things("look")) == 1
