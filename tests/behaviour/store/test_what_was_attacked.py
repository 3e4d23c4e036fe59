"""What an adversary found in the record, one fault a test.

Those first that can harm: a drain that nobody can judge any more, data that are refused or lost, a drain's
fluid counted twice. Sources: hazards C01-C10, G05-G11 and laws M5-M9, M25, M35 as the tests name them.
"""

# ruff: noqa: E501  a table: one case a line
from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from collections.abc import Callable
from concurrent.futures import wait as wait_for
from dataclasses import replace
from pathlib import Path

import pytest

from behaviour.store.a_drain import (
    OTHER_LAYOUT,
    ROWS,
    bundle,
    course_held,
    episode,
    log,
    ms,
    removal,
    row,
    stamp,
    taken,
)
from behaviour.store.test_export import exported, recorded
from slackwater.episode.episode import read_episode
from slackwater.errors import RecordError, SlackwaterError
from slackwater.store import Record, open_record
from slackwater.store.acts import canonical
from slackwater.store.backup import MANIFEST, backup, read_manifest, restore
from slackwater.store.course_text import read_course
from slackwater.store.group import GroupCommit, Message
from slackwater.store.listing import listed
from slackwater.store.read_out import assess_drain, chart_of
from slackwater.store.take_in import Bundle
from slackwater.store.verify import verify
from slackwater.store.write_out import files_of
from ward.until import LONG_S

PAIRED = f'[[pairing]]\nunit = "U-1"\nfrom = "{stamp(0)}"\nto = "{stamp(60)}"\nchecked_by = "two nurses"\n'


# --- a folder that ought to be taken, and is refused ----------------------------------------------


def test_what_is_exported_with_a_serial_number_can_be_recorded_elsewhere(record: Record, tmp_path: Path) -> None:
    folder = exported(record, taken(record).drain, tmp_path / "out")
    with open_record(tmp_path / "elsewhere", create=True) as elsewhere:
        recorded(elsewhere, folder)  # M35


@pytest.mark.parametrize("first", [0, 5])
def test_a_log_and_the_pairing_of_its_unit_may_come_in_one_bundle(record: Record, first: int) -> None:
    taken(record, bundle(course=f'[[pairing]]\nunit = "U-1"\nfrom = "{stamp(first)}"\nchecked_by = "two nurses"\n'))


@pytest.mark.parametrize("last", [log(0, 180), log(20, 130)], ids=["the whole", "the piece between"])
def test_a_log_that_bridges_two_pieces_is_taken(record: Record, last: object) -> None:
    for piece in (log(0, 30), log(120, 180)):
        taken(record, bundle(logs=[piece]))
    taken(record, bundle(logs=[last]))  # type: ignore[list-item]  M6


def test_a_longer_log_of_the_unit_before_an_exchange_is_taken(record: Record) -> None:
    taken(record, bundle(logs=[log(0, 60)]))
    taken(record, bundle(logs=[log(90, 180, "U-2")]))
    taken(record, bundle(logs=[log(0, 120)]))  # M6: what A wrote until B came, and a little more


def test_an_export_of_one_of_two_drains_of_a_space_can_be_recorded_here_again(record: Record, tmp_path: Path) -> None:
    first = taken(record, bundle(episode(shares_space_with=[]), logs=[log(serial="")]))
    taken(record, bundle(episode(number="2", shares_space_with=["1"]), logs=[], rows=None))
    assert recorded(record, exported(record, first.drain, tmp_path / "out")).rows == 0


# --- an act that is kept, and then nobody can judge or export the drain ---------------------------


@pytest.mark.parametrize(
    "given",
    [
        lambda: bundle(course=f'[[order]]\nkind = "suction"\nlevel = "much"\nfrom = "{stamp(20)}"\n'),
        lambda: bundle(course=f'[[order]]\nkind = "suction"\nlevel = "-20"\nfrom = "{stamp(20)}"\n'),
        lambda: bundle(course=f'[[order]]\nkind = "suction"\nlevel = "0"\nunit = "mL"\nfrom = "{stamp(20)}"\n'),
        lambda: bundle(
            course=f'[[order]]\nkind = "suction"\nlevel = "-20"\nunit = "cmH2O"\nreason = "a\\u0007b"\nfrom = "{stamp(20)}"\n'
        ),
        lambda: bundle(episode(number="1\\u0007"), rows=[row(30, "swing", "present", drain="")]),
        lambda: bundle(rows=[*ROWS, f'{stamp(100)},swing,present,,"a\rb",1,,nurse']),
    ],
    ids=["a level in words", "no unit", "a unit of another kind", "a bell", "a bell in the number", "a bare CR in a note"],
)  # fmt: skip
def test_what_the_record_takes_it_can_judge(record: Record, given: Callable[[], Bundle]) -> None:
    try:
        taken(record, given())
    except SlackwaterError:
        assert record.head() is None  # refused is well; half taken is not
    else:
        assess_drain(record, record.things("drain")[0].key)


@pytest.mark.parametrize("odd", ["\\u007f", "\\u2028", "\\u0085"])
def test_text_that_does_not_print_is_refused_or_comes_back(record: Record, odd: str) -> None:
    try:
        drain = taken(record, bundle(episode(f"A{odd}B"), course=f'[stay]\nward = "A{odd}B"\n')).drain
    except SlackwaterError:
        return
    files = files_of(record, course_held(record, drain))
    assert read_episode(files["episode.toml"], "episode.toml").patient_id == json.loads(f'"A{odd}B"')
    assert read_course(files["course.toml"], "course.toml")[0].fields["ward"] == json.loads(f'"A{odd}B"')


def test_the_first_layout_can_be_right_after_all(record: Record) -> None:
    drain = taken(record).drain
    taken(record, bundle(logs=[replace(log(), layout=OTHER_LAYOUT)]), correct="the unit shows steps of 10")
    taken(record, correct="no, of 5")
    assert len(course_held(record, drain).logs) == 1


# --- whose it is ----------------------------------------------------------------------------------

UNNAMED = row(60, "fluid_output", "30", "mL", drain="")


def test_a_row_that_names_no_drain_is_the_same_row_in_a_piece_of_the_chart(record: Record) -> None:
    taken(record, bundle(rows=[row(30, "fluid_output", "20", "mL", drain="2"), UNNAMED]))
    assert taken(record, bundle(rows=[UNNAMED])).entries == 0


def test_a_row_that_names_no_drain_belongs_to_none_where_the_record_knows_two(record: Record) -> None:
    taken(record, bundle(episode(number="2", side="right"), logs=[log(serial="U-2")], rows=None))
    drain = taken(record, bundle(rows=[UNNAMED])).drain
    assert [one["drain"] for one in course_held(record, drain).entries] == [None]


def test_one_volume_is_not_counted_for_two_drains(record: Record) -> None:
    taken(record, bundle(rows=[UNNAMED]))
    second = taken(record, bundle(episode(number="2", side="right"), logs=[log(serial="U-2")], rows=[UNNAMED]))
    assert len(chart_of(course_held(record, second.drain)).entries) == 1


def test_the_end_of_a_pairing_that_a_person_entered_stands(record: Record) -> None:
    taken(record, bundle(logs=[], course=PAIRED))
    drain = taken(record).drain
    (held,) = course_held(record, drain).pairings
    assert held["to_ms"] == ms(60)


def test_a_log_from_before_the_connection_is_refused(record: Record) -> None:
    with pytest.raises(RecordError):
        taken(record, bundle(episode(connected=300), logs=[log(0, 180)], rows=None))


def test_the_order_of_the_tables_in_a_course_does_not_matter(record: Record) -> None:
    open_ended = f'[[pairing]]\nunit = "U-1"\nfrom = "{stamp(0)}"\n'
    drain = taken(record, bundle(logs=[], course=removal(150) + open_ended)).drain
    assert [one["to_ms"] for one in course_held(record, drain).pairings] == [ms(150)]


def test_a_drain_that_is_out_takes_no_new_unit(record: Record) -> None:
    taken(record, bundle(course=removal(150)))
    with pytest.raises(RecordError):
        taken(record, bundle(logs=[], course=f'[[pairing]]\nunit = "U-9"\nfrom = "{stamp(160)}"\n'))


def test_a_log_after_the_removal_is_refused_without_a_serial_number_too(record: Record) -> None:
    taken(record, bundle(course=removal(150)))
    with pytest.raises(RecordError, match="after this drain was out"):
        taken(record, bundle(logs=[log(200, 300, serial="")]))


def test_a_removal_before_the_connection_is_refused(record: Record) -> None:
    with pytest.raises(RecordError):
        taken(record, bundle(course=removal(-6000)))


def test_a_correction_does_not_connect_a_drain_after_its_removal(record: Record) -> None:
    taken(record, bundle(course=removal(150)))
    with pytest.raises(RecordError):
        taken(record, bundle(episode(connected=600), logs=[], rows=None), correct="a slip of the pen")


def test_one_act_does_not_take_a_drain_out_twice(record: Record) -> None:
    out = {"drain": "d", "kind": "planned"}
    with pytest.raises(RecordError), record.act(by="nurse", what="removed") as act:
        act.add_all("removal", [("r1", {**out, "time_ms": ms(1)}), ("r2", {**out, "time_ms": ms(2)})])


# --- the intake of messages -----------------------------------------------------------------------


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_sender_that_gives_up_does_not_stop_the_intake(record: Record) -> None:
    intake = GroupCommit(record, "intake")
    with record.act(by="nurse", what="held", even_if_empty=True):
        given_up = intake.send(Message("U-1", 1, "flow 5"))
        given_up.cancel()
    other = intake.send(Message("U-1", 2, "flow 5"))
    done, _ = wait_for([other], timeout=LONG_S)
    assert done


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_message_that_is_no_text_does_not_stop_the_intake(record: Record) -> None:
    intake = GroupCommit(record, "intake")
    wait_for([intake.send(Message("U-1", 1, "\ud800"))], timeout=LONG_S)
    other = intake.send(Message("U-1", 2, "flow 5"))
    done, _ = wait_for([other], timeout=LONG_S)
    assert done


def test_a_bad_message_is_refused_alone(record: Record) -> None:
    intake = GroupCommit(record, "intake")
    with record.act(by="nurse", what="held", even_if_empty=True):
        first = intake.send(Message("U-0", 1, "flow 5"))
        futures = [intake.send(Message(f"U-{n}", 1, "a\x00b" if n == 2 else "flow 5")) for n in range(1, 5)]
    wait_for([first, *futures], timeout=LONG_S)
    intake.close()
    assert [future.exception() is None for future in futures] == [True, False, True, True]


# --- text, numbers, clocks ------------------------------------------------------------------------


@pytest.mark.parametrize("where", ["by", "why", "log name", "field"])
def test_text_that_cannot_be_written_is_refused_in_words(record: Record, where: str) -> None:
    with pytest.raises(RecordError):
        if where == "by":
            taken(record, by="n\udcff")
        elif where == "why":
            taken(record, correct="n\udcff")
        elif where == "log name":
            taken(record, bundle(logs=[replace(log(), name="log\udcff.csv")]))
        else:
            with record.act(by="nurse", what="x") as act:
                act.add("task", "k", {"drain": "d", "what": "\udcff"})


@pytest.mark.parametrize("odd", ["a\x00b", "x" * 1_100_000], ids=["NUL", "a million letters"])
@pytest.mark.parametrize("where", ["by", "what", "why", "key"])
def test_names_and_reasons_of_an_act_are_plain_text(record: Record, where: str, odd: str) -> None:
    told = {"by": "nurse", "what": "x", "why": ""}
    with pytest.raises(RecordError), record.act(**{**told, **({} if where == "key" else {where: odd})}) as act:
        act.add("task", odd if where == "key" else "k", {"drain": "d", "what": "x"})


@pytest.mark.parametrize(
    ("noun", "fields", "happened"),
    [
        ("task", {"drain": "d", "what": "x"}, 2**70),
        ("task", {"drain": "d", "what": "x"}, "soon"),
        ("episode", {"patient": "p", "age_years": 10**400}, None),
    ],
)
def test_numbers_beyond_reason_are_refused_in_words(
    record: Record, noun: str, fields: object, happened: object
) -> None:
    with pytest.raises(RecordError), record.act(by="nurse", what="x") as act:
        act.add(noun, "k", fields, happened_ms=happened)  # type: ignore[arg-type]


def test_what_was_known_at_a_moment_never_changes(place: str) -> None:
    now = [ms(10)]
    with open_record(place, create=True, clock=lambda: now[0]) as record:
        taken(record, bundle(logs=[]))
        known = record.things("entry", known_ms=ms(10))
        now[0] = ms(4)  # the machine's clock is set back
        taken(record, bundle(logs=[], rows=[row(100, "swing", "absent")]))
        assert record.things("entry", known_ms=ms(10)) == known


def test_a_clock_that_once_ran_ahead_does_not_hide_what_is_entered_later(place: str) -> None:
    now = [ms(0)]
    with open_record(place, create=True, clock=lambda: now[0]) as record:
        now[0] = ms(5_000_000)
        with record.act(by="nurse", what="looked", even_if_empty=True):
            now[0] = ms(20)
        taken(record, bundle(logs=[]))
        assert record.things("entry", known_ms=ms(30))


def test_a_wrong_word_in_a_course_is_refused_by_file_table_and_key() -> None:
    with pytest.raises(SlackwaterError, match=r"course\.toml, hold 1, reason: 'tired' is no word for it"):
        read_course(f'[[hold]]\nreason = "tired"\nfrom = "{stamp(0)}"\n'.encode(), "course.toml")


def test_a_missing_time_in_a_course_is_named_as_in_the_file() -> None:
    with pytest.raises(SlackwaterError, match=r"course\.toml, removal, time: is missing"):
        read_course(b'[removal]\nkind = "planned"\n', "course.toml")


def test_a_stay_that_was_taken_back_does_not_end_the_list(record: Record) -> None:
    drain = taken(record, bundle(logs=[])).drain
    taken(record, bundle(episode("INV-2"), logs=[]))
    stay = course_held(record, drain).episode
    try:
        with record.act(by="nurse", what="took back") as act:
            act.take_back("episode", stay.key, version=1)
    except RecordError:
        return  # it may refuse that, too
    assert "INV-2/1" in [one.name for one in listed(record)]


# --- places and files -----------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["a?b", "q?mode=memory", "%41"])
def test_a_record_lies_in_the_folder_that_was_named(tmp_path: Path, name: str) -> None:
    folder = tmp_path / name
    open_record(folder, create=True).close()
    assert (folder / "record.sqlite").exists()


def test_a_folder_named_in_bytes_is_taken_or_refused_in_words(tmp_path: Path) -> None:
    folder = os.fsdecode(os.fsencode(tmp_path) + b"/by\xffte")
    try:
        open_record(folder, create=True).close()
    except SlackwaterError:
        return
    assert os.path.exists(os.path.join(folder, "record.sqlite"))


def test_a_restore_into_a_link_is_done_or_refused_first(record: Record, tmp_path: Path) -> None:
    taken(record, bundle(logs=[]))
    backup(record, tmp_path / "backup")
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    try:
        restore(tmp_path / "backup", tmp_path / "link")
    except RecordError:
        assert not list(tmp_path.glob(".*.restoring"))


@pytest.mark.parametrize("what", ["backup", "restore"])
def test_a_file_in_the_place_of_a_folder_is_refused_in_words(record: Record, tmp_path: Path, what: str) -> None:
    backup(record, tmp_path / "backup")
    (tmp_path / "file").write_text("x")
    with pytest.raises(RecordError):
        if what == "backup":
            backup(record, tmp_path / "file")
        else:
            restore(tmp_path / "backup", tmp_path / "file")


@pytest.mark.parametrize("text", ["[]", "sealed"])
def test_a_manifest_of_another_shape_is_damaged(record: Record, tmp_path: Path, text: str) -> None:
    backup(record, tmp_path / "backup")
    if text == "sealed":
        told = {"acts": 0}
        sealed = hashlib.sha256(canonical(told).encode()).hexdigest()
        text = json.dumps({**told, "sealed": sealed}, indent=1, sort_keys=True) + "\n"
    (tmp_path / "backup" / MANIFEST).write_text(text)
    with pytest.raises(RecordError):
        read_manifest(tmp_path / "backup")


def test_a_damaged_definition_of_a_table_is_refused_in_words(record: Record, place: str) -> None:
    taken(record, bundle(logs=[]))
    record.close()
    path = Path(place) / "record.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = bytearray(path.read_bytes())
    data[data.find(b"tablehold_rows") + len("tablehol")] ^= 0x80
    path.write_bytes(bytes(data))
    with pytest.raises(SlackwaterError), open_record(place) as again:
        assert verify(again).faults
        raise SlackwaterError("it was found")


def test_missing_guards_are_found(record: Record, place: str) -> None:
    taken(record, bundle(logs=[]))
    record.close()
    with sqlite3.connect(Path(place) / "record.sqlite") as connection:
        connection.execute("DROP TRIGGER ledger_no_delete")
    with open_record(place) as again:
        assert verify(again).faults


@pytest.mark.parametrize("name", ["LOG.CSV", "monday.csv"])
def test_a_file_of_a_folder_that_is_not_taken_is_told(record: Record, tmp_path: Path, name: str) -> None:
    folder = exported(record, taken(record, bundle(logs=[log(serial="")])).drain, tmp_path / "out")
    (folder / "log.csv").rename(folder / name)
    with open_record(tmp_path / "elsewhere", create=True) as elsewhere:
        try:
            done = recorded(elsewhere, folder)
        except SlackwaterError:
            return
        assert done.logs or any(name in note for note in done.notes)
