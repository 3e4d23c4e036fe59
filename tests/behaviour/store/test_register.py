"""The register of units: in and out as CSV, recalls traced both ways, what is to be pulled, what may not be put back.

Units, lots and drains are invented.
"""

from __future__ import annotations

import pytest

from slackwater.errors import RecordError
from slackwater.quantities.spans import DAY_MS
from slackwater.store import Record
from slackwater.store.acts import key_of
from slackwater.store.recalls import close_recall, meets_nothing, recall, to_pull, uses
from slackwater.store.record import Acting
from slackwater.store.register import (
    COLUMNS,
    demand,
    dues,
    fleet_use,
    read,
    set_facts,
    take_register,
    utilisation,
    written,
)
from slackwater.store.units import connect, set_state, units_now

CSV = '''serial,kind,layout,bought,battery_lot,battery_from,must_run_min,service_due,safety_test_due
SN-1,sandbar,sandbar,2040-01-02,B-1,2040-01-02,180,2050-01-01,2050-06-30
SN-2,,,,B-2,,,,
SN/3,sandbar,,,"B ""3""",,,,2041-01-01
'''


def take(record: Record, text: str) -> tuple[int, int, list[str]]:
    new, changed, refused = take_register(record, text, by="tests")
    return new, changed, [str(one) for one in refused]


def drain(act: Acting, patient: str, bed: str = "4") -> str:
    key = key_of("patient", patient)
    act.add("patient", key, {"label": patient})
    act.add("episode", f"stay-{patient}", {"patient": key, "ward": "South", "bed": bed})
    act.add("space", f"space-{patient}", {"episode": f"stay-{patient}", "kind": "pleural", "side": "left"})
    act.add("drain", f"drain-{patient}", {"episode": f"stay-{patient}", "space": f"space-{patient}", "number": "1"})
    return f"drain-{patient}"


def pair(act: Acting, at: str, serial: str, from_ms: int, to_ms: int | None = None) -> None:
    patient = key_of("patient", at.removeprefix("drain-"))
    unit = key_of("unit", serial)
    if act.thing("unit", unit) is None:
        act.add("unit", unit, {"serial": serial})
    fields = {"patient": patient, "drain": at, "unit": unit, "from_ms": from_ms, "to_ms": to_ms}
    act.add("pairing", key_of("pairing", at, serial, from_ms), fields, happened_ms=from_ms)


def turned_round(record: Record, serial: str) -> None:
    for state, method in (("cleaned", "wiped"), ("tested", "self-test passed"), ("ready", None)):
        set_state(record, key_of("unit", serial), state, by="tests", method=method, note=None, place="shelf 2",
                  once=f"{serial}-{state}")  # fmt: skip


def unit(record: Record, serial: str, now_ms: int | None = None):  # type: ignore[no-untyped-def]
    now = record.now_ms() if now_ms is None else now_ms
    return next(one for one in units_now(record, now) if one.serial == serial)


# --- in and out -----------------------------------------------------------------------------------


def test_out_and_in_again_is_the_same_and_changes_nothing(record: Record) -> None:
    assert take(record, CSV) == (3, 0, [])
    out = written(record.things("unit"))
    assert sorted(out.splitlines()) == sorted(CSV.splitlines()), "byte for byte, but for the order of lines"
    before = record.head()
    assert take(record, out) == (0, 0, []) and record.head() == before
    assert written(record.things("unit")) == out


def test_columns_may_be_left_out_and_stay_as_they_were(record: Record) -> None:
    take(record, CSV)
    assert take(record, "battery_lot,serial\nB-9,SN-1\n") == (0, 1, [])
    found = unit(record, "SN-1").facts
    assert found["battery_lot"] == "B-9" and found["must_run_min"] == 180
    assert take(record, "serial,must_run_min\nSN-1,\n")[:2] == (0, 1)
    assert unit(record, "SN-1").facts["must_run_min"] is None, "an empty cell says: not known"


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("SN-9,,,2040-13-01,,,,,", "line 3, bought: '2040-13-01' is no day. Write it as 2041-03-07"),
        ("SN-9,,,,,,three hours,,", "line 3, must_run_min: 'three hours' is no whole number"),
        ("SN-9,,,,,,-5,,", "must_run_min"),
        (",,,,,,,,", ""),
        (" ,kind,,,,,,,", "line 3, serial: is missing"),
        ("SN-1,,,,,,,,", "line 3, serial: 'SN-1' stands on line 2 already. Keep one line a unit."),
        ("SN-9,,,", "line 3, cells: 4 cells, but 9 columns"),
        ("=HYPERLINK(1),,,,,,,,", "line 3, serial: is no serial number. Letters, digits"),
        ("-1,,,,,,,,", "serial: is no serial number"),
        ('"SN,9",,,,,,,,', "serial: is no serial number"),
        ("SN-9,@SUM(1),,,,,,,", "line 3, kind: begins with @."),
        ("SN-9,,,,+1,,,,", "line 3, battery_lot: begins with +."),
        ("sn-1,,,,,,,,", "line 3, serial: 'sn-1' is another spelling. SN-1 stands on line 2; is it that one?"),
        ("SN-9,\x07,,,,,,,", "line 3, kind: is no plain text"),
        ('SN-9,"x,,,,,,,', "line 3, quotes"),
        ("SN-9,,,,,,,2041-02-29,", "service_due"),
    ],
)
def test_a_line_that_cannot_be_taken_is_told_and_nothing_is_recorded(record: Record, line: str, told: str) -> None:
    text = f"{','.join(COLUMNS)}\nSN-1,,,,,,,,\n{line}\nSN-8,,,,,,,,\n"
    new, changed, refused = take(record, text)
    if not told:
        assert (new, refused) == (2, []), "an empty line is no line"
        return
    assert any(told in one for one in refused), refused
    assert (new, changed) == (0, 0) and record.things("unit") == ()


def test_what_a_log_brought_goes_out_as_no_formula_and_comes_in_as_it_was(record: Record) -> None:
    with record.act(by="t", what="a log names it") as act:
        act.add("unit", key_of("unit", "=1+1"), {"serial": "=1+1"})
    out = written(record.things("unit"))
    assert out.splitlines()[1].startswith("'=1+1,")
    assert take(record, out)[2] == [] and [one["serial"] for one in record.things("unit")] == ["=1+1"]
    assert written(record.things("unit")) == out


def test_a_register_without_serials_or_with_a_strange_column_is_refused() -> None:
    assert "serial is missing" in str(read("kind\nx\n")[1][0])
    assert "'colour' is no column" in str(read("serial,colour\nSN-1,blue\n")[1][0])
    assert "Known, in any order: serial" in str(read("")[1][0])
    assert "kind stands twice. Keep one" in str(read("serial,kind,kind\nSN-1,a,b\n")[1][0])
    parted = read("\ufeffserial;kind\nSN-1;x\n")[1]  # as a table program saves it where the comma is the decimal sign
    assert str(parted[0]).startswith("line 1, columns: are parted by semicolons. Save the file with commas")


# --- never for the next patient -------------------------------------------------------------------


def test_no_unit_is_put_back_with_a_step_missing(record: Record) -> None:
    take(record, "serial\nSN-1\n")
    for state in ("ready", "tested"):
        with pytest.raises(RecordError, match="cleaned"):
            set_state(record, key_of("unit", "SN-1"), state, by="t", method="m", note=None, place=None, once=state)
    turned_round(record, "SN-1")
    assert unit(record, "SN-1").state == "ready"


def test_no_unit_is_put_back_with_a_safety_test_overdue(record: Record) -> None:
    take(record, "serial,safety_test_due\nSN-1,2001-01-01\n")
    with pytest.raises(RecordError, match=r"cannot be put back.*safety test was due on 2001-01-01"):
        turned_round(record, "SN-1")
    assert unit(record, "SN-1").state == "tested"
    take(record, "serial,safety_test_due\nSN-1,2150-01-01\n")
    turned_round(record, "SN-1")
    assert unit(record, "SN-1").state == "ready"
    (test, service) = dues(unit(record, "SN-1").facts, record.now_ms())
    assert (test.standing, service.standing) == ("later", "not recorded")


def test_no_unit_is_put_back_or_connected_with_a_recall_open(record: Record) -> None:
    take(record, "serial,battery_lot\nSN-1,B-1\nSN-2,B-2\n")
    turned_round(record, "SN-1")
    recall(record, "battery", "B-1", "swells", by="t")
    now = unit(record, "SN-1")
    assert now.state == "tested" and now.bars == ("battery lot B-1 is recalled: swells",)
    with pytest.raises(RecordError, match="swells"):
        set_state(record, now.key, "ready", by="t", method=None, note=None, place=None, once="again")
    with record.act(by="t", what="drain") as act:
        at = drain(act, "P-1")
    with pytest.raises(RecordError, match="swells"), record.act(by="t", what="connect") as act:
        connect(
            act, drain=at, serial="SN-1", at_ms=act.at_ms, checked="{}", second_person="B", arrived_with=None, once="x"
        )  # fmt: skip
    close_recall(record, "battery", "B-1", "batteries changed", by="t")
    assert unit(record, "SN-1").needs == ("ready",), "it was put back before the recall: somebody looks at it first"
    set_state(record, now.key, "ready", by="t", method=None, note=None, place=None, once="after the recall")
    assert unit(record, "SN-1").state == "ready"
    with pytest.raises(RecordError, match="not recalled"):
        close_recall(record, "battery", "B-1", "again", by="t")


# --- recalls --------------------------------------------------------------------------------------


def test_what_is_to_be_pulled_is_told_worst_first_with_its_bed(record: Record) -> None:
    take(record, "serial,battery_lot\nSN-1,B-1\nSN-2,B-1\nSN-3,B-1\nSN-4,B-1\nSN-5,B-2\n")
    turned_round(record, "SN-2")
    set_state(record, key_of("unit", "SN-4"), "faulty", by="t", method=None, note="dead", place=None, once="f")
    with record.act(by="t", what="drain") as act:
        pair(act, drain(act, "P-1", bed="12"), "SN-3", act.at_ms - 5 * DAY_MS)
    assert to_pull(record, record.now_ms()) == ()
    recall(record, "battery", "B-1", "swells", by="t")
    found = to_pull(record, record.now_ms())
    assert [one.unit.serial for one in found if one.unit] == ["SN-3", "SN-1", "SN-2", "SN-4"]
    assert found[0].drain == "drain-P-1" and found[0].why == ("battery lot B-1 is recalled: swells",)
    with_fade = to_pull(record, record.now_ms(), {key_of("unit", "SN-5"): "its battery runs 90 min from full"})
    assert "runs 90 min" in with_fade[-2].why[0]


def canister(act: Acting, at: str, from_ms: int, lot: str | None, filter_lot: str | None) -> None:
    fields = {"drain": at, "from_ms": from_ms, "lot": lot, "filter_lot": filter_lot}
    act.add("canister", key_of("canister", at, from_ms), fields)


def test_lots_are_traced_both_ways_from_when_until_when(record: Record) -> None:
    with record.act(by="t", what="drains") as act:
        now = act.at_ms
        first, second = drain(act, "P-1"), drain(act, "P-2")
        pair(act, first, "SN-1", now - 9 * DAY_MS, now - 4 * DAY_MS)
        pair(act, first, "SN-2", now - 4 * DAY_MS)
        canister(act, first, now - 8 * DAY_MS, "C-1", "F-1")
        canister(act, first, now - 3 * DAY_MS, "C-2", None)
        canister(act, second, now - 2 * DAY_MS, "C-1", "F-9")
    one, two = uses(record, lot="C-1")
    assert (one.drain, one.to_ms) == ("drain-P-2", None) and one.unit is None
    assert (two.drain, two.from_ms, two.to_ms) == ("drain-P-1", now - 8 * DAY_MS, now - 3 * DAY_MS)
    assert two.unit == key_of("unit", "SN-2"), "the one that served it at the end"
    assert {(u.what, u.lot) for u in uses(record, drain="drain-P-1")} == {
        ("canister", "C-1"), ("filter", "F-1"), ("canister", "C-2"),
    }  # fmt: skip
    recall(record, "canister", "C-1", "cracks", by="t")
    (pull,) = to_pull(record, record.now_ms())
    assert pull.drain == "drain-P-2" and pull.unit is None, "the other one lies there no more"
    recall(record, "filter", "F-9", "wet", by="t")
    (pull,) = to_pull(record, record.now_ms())
    assert len(pull.why) == 2


def test_a_battery_is_traced_to_the_drains_its_unit_served(record: Record) -> None:
    with record.act(by="t", what="drains") as act:
        now = act.at_ms
        first, second = drain(act, "P-1"), drain(act, "P-2")
        pair(act, first, "SN-1", now - 9 * DAY_MS, now - 8 * DAY_MS)
        pair(act, second, "SN-1", now - 2 * DAY_MS)
    take(record, "serial,battery_lot\nSN-1,B-1\n")
    assert {u.drain for u in uses(record, lot="B-1")} == {"drain-P-1", "drain-P-2"}, "written down late, still the lot"
    take(record, "serial,battery_lot,battery_from\nSN-1,B-2,2001-01-01\n")
    assert {u.drain for u in uses(record, lot="B-2")} == {"drain-P-1", "drain-P-2"}


@pytest.mark.parametrize(
    ("what", "lot", "reason"),
    [("pump", "X", "y"), ("battery", " ", "y"), ("battery", "X", ""), ("battery", "-", "y")],
)
def test_a_recall_needs_what_lot_and_reason(record: Record, what: str, lot: str, reason: str) -> None:
    with pytest.raises(RecordError):
        recall(record, what, lot, reason, by="t")
    assert record.things("recall") == ()


def test_a_unit_put_back_before_a_recall_is_not_ready_by_another_lot_that_came_in_meanwhile(record: Record) -> None:
    take(record, "serial,battery_lot\nSN-1,B-1\nSN-2,B-2\n")
    for serial in ("SN-1", "SN-2"):
        turned_round(record, serial)
    recall(record, "battery", "B-1", "swells", by="t")
    assert take(record, "serial,battery_lot,battery_from\nSN-1,B-7,2041-01-01\n") == (0, 1, [])
    assert (unit(record, "SN-1").bars, unit(record, "SN-1").needs) == ((), ("ready",))
    assert unit(record, "SN-2").state == "ready", "never had it"


def test_a_recall_meets_its_lot_in_any_spelling_and_is_one_recall(record: Record) -> None:
    take(record, "serial,battery_lot\nSN-1,B-1204\n")
    key = recall(record, "battery", "b\u20101204", "swells", by="t")
    assert "swells" in unit(record, "SN-1").bars[0] and unit(record, "SN-1").key in {
        one.unit.key for one in to_pull(record, record.now_ms()) if one.unit
    }
    assert recall(record, "battery", "B-1204 ", "leaks", by="t") == key and len(record.things("recall")) == 1
    take(record, "serial,battery_lot\nSN-2,b1204\n")
    assert "leaks" in unit(record, "SN-2").bars[0], "a hyphen left out hides no unit"
    close_recall(record, "battery", "B-1204", "over", by="t")
    assert unit(record, "SN-1").bars == ()


def test_a_recall_that_meets_nothing_says_so_with_lots_near_it(record: Record) -> None:
    take(record, "serial,battery_lot\nSN-1,B-1204\nSN-2,Q-9\n")
    assert meets_nothing(record, "battery", "b-1204") == ""
    assert meets_nothing(record, "battery", "B-1240") == (
        "no battery lot B-1240 is written down here; near it: B-1204"
    )  # fmt: skip
    assert meets_nothing(record, "filter", "B-1204") == "no filter lot B-1204 is written down here"


def test_units_whose_lot_nobody_wrote_down_are_to_be_looked_at_while_a_battery_is_recalled(record: Record) -> None:
    take(record, "serial,battery_lot\nSN-1,\nSN-2,B-1\nSN-3,B-2\n")
    assert to_pull(record, record.now_ms()) == ()
    recall(record, "canister", "C-1", "cracks", by="t")
    assert to_pull(record, record.now_ms()) == (), "batteries are not recalled"
    recall(record, "battery", "B-1", "swells", by="t")
    found = [(one.unit.serial, one.why) for one in to_pull(record, record.now_ms()) if one.unit]
    assert found == [
        ("SN-2", ("battery lot B-1 is recalled: swells",)),
        ("SN-1", ("battery lot not recorded: look (B-1 recalled)",)),
    ]


@pytest.mark.parametrize("line", ["SN-1,,", "SN-1,B-2,", "SN-1,,2041-01-01", "SN-1,B-2,2040-01-01"])
def test_a_recalled_lot_is_not_written_away(record: Record, line: str) -> None:
    take(record, "serial,battery_lot,battery_from\nSN-1,B-1,2040-01-01\n")
    recall(record, "battery", "b-1", "swells", by="t")
    new, changed, refused = take(record, f"serial,battery_lot,battery_from\n{line}\n")
    assert (new, changed) == (0, 0) and "line 2, battery_lot: SN-1 has the recalled lot B-1" in refused[0]
    with pytest.raises(RecordError, match="recalled lot"), record.act(by="t", what="facts") as act:
        set_facts(act, {"serial": "SN-1", "battery_lot": None})
    assert unit(record, "SN-1").bars
    assert take(record, "serial,battery_lot,battery_from\nSN-1,B-2,2041-01-01\n") == (0, 1, [])


# --- use ------------------------------------------------------------------------------------------


def test_use_is_days_in_use_of_days_known_and_two_drains_on_one_unit_count_once(record: Record) -> None:
    with record.act(by="t", what="drains") as act:
        now = act.at_ms
        first, second = drain(act, "P-1"), drain(act, "P-2")
        pair(act, first, "SN-1", now - 20 * DAY_MS, now - 10 * DAY_MS)
        pair(act, second, "SN-2", now - 10 * DAY_MS)
    used = utilisation(record, now)
    assert used[key_of("unit", "SN-1")].share == pytest.approx(0.5)
    assert used[key_of("unit", "SN-2")].share == pytest.approx(1.0)
    assert fleet_use(used).share == pytest.approx(20 / 30)


def test_days_before_anything_was_recorded_are_not_known(record: Record) -> None:
    """Bought long before: nobody wrote down who had it then. Known: the 20 days since the first pairing of any unit."""
    take(record, "serial,bought\nSN-1,2020-01-01\nSN-2,2020-01-01\n")
    with record.act(by="t", what="drains") as act:
        now = act.at_ms
        pair(act, drain(act, "P-1"), "SN-1", now - 20 * DAY_MS, now - 10 * DAY_MS)
    used = utilisation(record, now)
    assert [used[key_of("unit", one)].days_known for one in ("SN-1", "SN-2")] == pytest.approx([20.0, 20.0])
    assert fleet_use(used).share == pytest.approx(0.25)


def test_demand_counts_uses_and_only_units_that_could_be_used(record: Record) -> None:
    take(record, "serial\nSN-1\nSN-2\nSN-3\n")
    set_state(record, key_of("unit", "SN-3"), "lost", by="t", method=None, note=None, place=None, once="l")
    with record.act(by="t", what="drains") as act:
        now = act.at_ms
        first, second = drain(act, "P-1"), drain(act, "P-2")
        pair(act, first, "SN-1", now - 20 * DAY_MS, now - 15 * DAY_MS)
        pair(act, second, "SN-1", now - 3 * DAY_MS)
    past = demand(record, now + 1)
    assert past.units == 2 and len(past.in_use_d) == 1 and past.ended.count(True) == 1
    assert sorted(past.stayed_d) == pytest.approx([3.0, 5.0])
    assert past.history_d == pytest.approx(20.0)
