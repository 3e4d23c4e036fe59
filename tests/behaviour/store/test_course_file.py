"""`course.toml`: every table of it, and every way to write it wrongly."""

# ruff: noqa: E501  a table: one case a line
from __future__ import annotations

import pytest

from behaviour.store.a_drain import bundle, course_held, ms, removal, row, said, stamp, taken
from slackwater.errors import EpisodeError, RecordError, SlackwaterError
from slackwater.store import Record
from slackwater.store.course_text import course_text, read_course
from slackwater.store.read_out import assess_drain

WHOLE = f"""
[stay]
ward = "Süd 3"
bed = "4"
initials = "A. B."

[[order]]
kind = "suction"
level = "-20"
unit = "cmH2O"
from = "{stamp(10)}"
until = "{stamp(100)}"
review = "{stamp(60)}"
may_be_off_min = 15
reason = "after theatre"

[[order]]
kind = "imaging"
from = "{stamp(20)}"

[[hold]]
reason = "awaiting_imaging"
from = "{stamp(30)}"
to = "{stamp(90)}"
note = "film asked for"

[[task]]
what = "look at the tube"
due = "{stamp(40)}"
done = "{stamp(45)}"
done_by = "nurse"
result = "open"

[removal]
kind = "planned"
time = "{stamp(150)}"
removed_by = "registrar"
second_person = "nurse"
breath_phase = "end_expiration"
analgesia = "{stamp(140)}"
tip_intact = true

[[check]]
what = "chest_xray"
due = "{stamp(170)}"
"""


def test_every_table_is_entered(record: Record) -> None:
    drain = taken(record, bundle(course=WHOLE)).drain
    course = course_held(record, drain)
    assert (course.episode["ward"], course.episode["bed"], course.episode["initials"]) == ("Süd 3", "4", "A. B.")
    assert [one["kind"] for one in course.orders] == ["suction", "imaging"]
    assert course.orders[0]["may_be_off_min"] == 15
    assert [(one["from_ms"], one["to_ms"]) for one in course.holds] == [(ms(30), ms(90))]
    assert [one["result"] for one in course.tasks] == ["open"]
    assert course.removal is not None and course.removal["tip_intact"] is True
    assert [one["what"] for one in course.checks] == ["chest_xray"]


def test_the_same_course_again_adds_nothing(record: Record) -> None:
    taken(record, bundle(course=WHOLE))
    assert taken(record, bundle(course=WHOLE)).rows == 0


def test_a_course_is_written_as_it_is_read(record: Record) -> None:
    drain = taken(record, bundle(logs=[], course=WHOLE)).drain
    text = course_text(course_held(record, drain), {})
    told = {(one.noun, frozenset(one.fields.items())) for one in read_course(text.encode(), "course.toml")}
    assert told == {(one.noun, frozenset(one.fields.items())) for one in read_course(WHOLE.encode(), "course.toml")}


def test_a_pairing_is_entered_by_the_units_serial_number(record: Record) -> None:
    pairing = f'[[pairing]]\nunit = "U-7"\nfrom = "{stamp(0)}"\nchecked_by = "two nurses"\n'
    drain = taken(record, bundle(logs=[], course=pairing)).drain
    (held,) = course_held(record, drain).pairings
    unit = record.thing("unit", held["unit"])
    assert unit is not None and (unit["serial"], held["checked_by"]) == ("U-7", "two nurses")


def test_an_order_for_suction_counts_as_if_it_were_charted(record: Record, place: str) -> None:
    from slackwater.store import open_record

    ordered = f'[[order]]\nkind = "suction"\nlevel = "-20"\nunit = "cmH2O"\nfrom = "{stamp(60)}"\n'
    first = taken(record, bundle(course=ordered))
    with open_record(place + "-2", create=True) as other:
        charted = row(60, "suction_ordered", "-20", "cmH2O", by="")
        taken(other, bundle(rows=[*(row_ for row_ in _rows()), charted]))
        assert said(assess_drain(record, first.drain)) == said(assess_drain(other, first.drain))


def _rows() -> tuple[str, ...]:
    from behaviour.store.a_drain import ROWS

    return ROWS


def test_a_removal_that_is_corrected_keeps_the_old_time(record: Record) -> None:
    drain = taken(record, bundle(course=removal(150))).drain
    with pytest.raises(RecordError, match="removal: time is 2041-05-06T08:30:00Z in the record"):
        taken(record, bundle(course=removal(140)))
    taken(record, bundle(course=removal(140)), correct="read from the wrong line")
    assert course_held(record, drain).removed_ms == ms(140)


AT = f'from = "{stamp(0)}"'
BROKEN = {
    "is not TOML": ("reason = ", r"course\.toml: is not TOML: .*\. Write lines such as"),
    "a table that is not known": ("[[holds]]\n", r"course\.toml, holds: is not a table of a course\. .*hold"),
    "a value instead of a table": ("hold = 5\n", r"course\.toml, hold: is not a table\. Write \[\[hold\]\]"),
    "a list of values": ("hold = [5]\n", r"course\.toml, hold 1: is not a table"),
    "a key that is not known": (f'[[hold]]\nreason = "other"\n{AT}\nward = "3"\n', r"course\.toml, hold 1, ward: is not"),
    "a key with a slip": ("[stay]\nbedd = 4\n", r"course\.toml, stay, bedd: is not a key of it\. .*bed"),
    "whose it is": ('[[hold]]\ndrain = "1"\n', r"course\.toml, hold 1, drain: is not a key of it"),
    "a time without its offset": (
        '[[hold]]\nreason = "other"\nfrom = "2041-05-06T06:00:00"\n',
        r"course\.toml, hold 1, from: '.* is local time and its zone is not said\. Write it with its offset",
    ),
    "a TOML time without its offset": (
        '[[hold]]\nreason = "other"\nfrom = 2041-05-06T06:00:00\n',
        r"course\.toml, hold 1, from: .*does not say where its clock stood\. Write it with its offset",
    ),
    "a day without a time": ("[removal]\ntime = 2041-05-06\n", r"course\.toml, removal, time: 2041-05-06 does not say"),
    "a time that is none": ('[[task]]\nwhat = "x"\ndue = "soon"\n', r"course\.toml, task 1, due: 'soon' is not a date"),
    "a number for a time": ("[removal]\ntime = 5\n", r"course\.toml, removal, time: 5 does not say"),
    "a pairing without a unit": (f"[[pairing]]\n{AT}\n", r"course\.toml, pairing 1, unit: .* Write unit = "),
    "not UTF-8": (b"[stay]\nward = '\xff'\n", r"course\.toml, line 2: byte 0xff is not UTF-8\. Save"),
    "an invisible character": (b"[stay]\nward = 'a\x00b'\n", r"course\.toml, line 2: holds the invisible character U\+0000"),
}  # fmt: skip


@pytest.mark.parametrize("broken", BROKEN)
def test_a_course_that_is_wrong_is_refused_with_where_and_mend(broken: str) -> None:
    text, said_of = BROKEN[broken]
    with pytest.raises(EpisodeError, match=said_of):
        read_course(text if isinstance(text, bytes) else text.encode(), "course.toml")


REFUSED = {
    "a word that is not known": (f'[[hold]]\nreason = "tired"\n{AT}\n', r"reason: 'tired' is no word.*Known: .*other"),
    "a field that is needed": (f"[[hold]]\n{AT}\n", r"reason: is missing\. Give it"),
    "a needed time": ('[removal]\nkind = "planned"\n', r"removal, time: is missing\. Give it"),
    "another kind of value": (f'[[hold]]\nreason = 5\n{AT}\n', r"reason: 5 is no text"),
    "half a minute": (f'[[order]]\nkind = "suction"\n{AT}\nmay_be_off_min = 1.5\n', r"may_be_off_min: 1\.5 is no count"),
    "a number beyond numbers": (f'[[order]]\nkind = "suction"\n{AT}\nmay_be_off_min = {10**30}\n', "may_be_off_min: .*cannot be"),
    "yes for true": ('[removal]\nkind = "planned"\ntip_intact = "yes"\n' + f'time = "{stamp(1)}"\n', "tip_intact: 'yes' is no flag"),
    "an end before its beginning": (f'[[hold]]\nreason = "other"\n{AT}\nto = "{stamp(-1)}"\n', "to_ms lies before from_ms"),
}  # fmt: skip


@pytest.mark.parametrize("refused", REFUSED)
def test_a_field_of_a_course_that_is_wrong_is_refused(record: Record, refused: str) -> None:
    text, said_of = REFUSED[refused]
    with pytest.raises(SlackwaterError, match=said_of):
        taken(record, bundle(course=text))
    assert record.head() is None


def test_a_course_that_tells_one_thing_twice_differently_is_refused(record: Record) -> None:
    hold = f'[[hold]]\nreason = "other"\n{AT}\n'
    with pytest.raises(RecordError, match="note is 'a' in the record, and 'b' here"):
        taken(record, bundle(course=f'{hold}note = "a"\n{hold}note = "b"\n'))
    assert record.head() is None
