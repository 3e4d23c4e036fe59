"""A clamp by its kind, with a planned end and a task; never suggested. A drain kept for a coded reason.

That a drain that bubbles is not clamped is common practice, no source. The rest is the pages' own behaviour.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.web.charting.a_bedside import CHARTED, LEAKING, NOW_MS, Bedside, a_bedside, faults
from slackwater.store.charting import CLAMP_OFF


@pytest.fixture
def bedside(tmp_path: Path) -> Iterator[Bedside]:
    with a_bedside(tmp_path) as one:
        yield one


def clamps(bedside: Bedside, drain: str) -> list[tuple[str, str]]:
    return [(one["value"], one["note"] or "") for one in bedside.all_rows(drain) if one["item"] == "clamp"]


def test_the_caution_stands_first_and_nothing_suggests_a_clamp(bedside: Bedside) -> None:
    page = bedside.get(f"/drain/{CHARTED}/clamp").text
    assert page.index("must not be clamped") < page.index('name="kind"')
    assert "checked" not in page.split("<form method")[-1]


def test_a_trial_has_who_ordered_it_its_end_and_a_task(bedside: Bedside) -> None:
    said = {"kind": "trial", "ordered_by": "Invented consultant", "minutes": "120"}
    for _ in range(2):
        assert bedside.post(f"/drain/{CHARTED}/clamp", once="clamped-once", **said).status_code == 303
    assert clamps(bedside, CHARTED) == [("on", "trial: ordered by Invented consultant")]
    (task,) = [one for one in bedside.things("task", CHARTED) if one["what"] == CLAMP_OFF]
    assert task["due_ms"] == NOW_MS + 120 * 60_000
    page = bedside.get(f"/drain/{CHARTED}/clamp").text
    assert f'data-until="{task["due_ms"]}"' in page and "does not call anybody" in page
    bedside.later(30)
    assert bedside.post(f"/drain/{CHARTED}/clamp", off="1", at="2041-03-07T09:30").status_code == 303
    assert ("off", "") in clamps(bedside, CHARTED)
    (task,) = [one for one in bedside.things("task", CHARTED) if one["what"] == CLAMP_OFF]
    assert task["done_ms"] == NOW_MS + 30 * 60_000


@pytest.mark.parametrize(
    ("field", "said"),
    [
        ("kind", {"minutes": "5"}),
        ("kind", {"kind": "because", "minutes": "5"}),
        ("ordered_by", {"kind": "trial", "minutes": "5"}),
        ("ordered_by", {"kind": "ordered", "minutes": "5"}),
        ("minutes", {"kind": "handling"}),
        ("minutes", {"kind": "handling", "minutes": "0"}),
        ("minutes", {"kind": "handling", "minutes": "soon"}),
        ("at", {"kind": "handling", "minutes": "5", "at": "2041-03-07T12:00"}),
    ],
)
def test_each_field_that_cannot_be_is_said_beside_it(bedside: Bedside, field: str, said: dict[str, str]) -> None:
    assert field in faults(bedside.post(f"/drain/{CHARTED}/clamp", **said))
    assert not clamps(bedside, CHARTED)


def test_a_drain_that_leaked_lately_needs_a_reason_which_is_kept(bedside: Bedside) -> None:
    said = {"kind": "handling", "minutes": "3"}
    answer = bedside.post(f"/drain/{LEAKING}/clamp", **said)
    assert "Look at the drain" in faults(answer)["because"] and "Air flowed in the last half hour" in answer.text
    assert bedside.post(f"/drain/{LEAKING}/clamp", because="unit exchanged, surgeon there", **said).status_code == 303
    assert clamps(bedside, LEAKING) == [("on", "handling: unit exchanged, surgeon there")]
    assert bedside.app.state.record.head().why == "unit exchanged, surgeon there"


def test_bubbling_that_was_charted_asks_the_same(bedside: Bedside) -> None:
    bedside.post(f"/drain/{CHARTED}/set", bubbling="C", bubbling_size="2", at="2041-03-07T08:00")
    assert "because" in faults(bedside.post(f"/drain/{CHARTED}/clamp", kind="handling", minutes="3"))


def test_a_clamp_that_is_on_is_not_put_on_again(bedside: Bedside) -> None:
    bedside.post(f"/drain/{CHARTED}/clamp", kind="handling", minutes="3", at="2041-03-07T08:50")
    assert "clamped already" in str(faults(bedside.post(f"/drain/{CHARTED}/clamp", kind="handling", minutes="3")))


def test_a_clamps_timer_ends_with_the_clamp_alone(bedside: Bedside) -> None:
    """Ticked off as a task, nothing would speak of a drain that is still clamped."""
    bedside.post(f"/drain/{CHARTED}/clamp", kind="handling", minutes="5")
    (task,) = [one for one in bedside.things("task", CHARTED) if one["what"] == CLAMP_OFF]
    refused = bedside.post(f"/drain/{CHARTED}/task", key=task.key, version=str(task.version), result="done")
    assert refused.status_code == 422 and "Chart the clamp off: that ends its timer" in refused.text
    page = bedside.get(f"/drain/{CHARTED}").text
    assert "Chart the clamp off</a>" in page and f'aria-label="Done: {CLAMP_OFF}"' not in page
    bedside.post(f"/drain/{CHARTED}/clamp", off="1")
    (task,) = [one for one in bedside.things("task", CHARTED) if one["what"] == CLAMP_OFF]
    assert task["done_ms"] == NOW_MS


def test_a_hold_has_a_coded_reason_and_ends(bedside: Bedside) -> None:
    for _ in range(2):
        answer = bedside.post(f"/drain/{CHARTED}/hold", once="kept-once-only", reason="awaiting_imaging")
        assert answer.status_code == 303
    (hold,) = bedside.things("hold", CHARTED)
    assert hold["reason"] == "awaiting_imaging" and hold["from_ms"] == NOW_MS
    stale = bedside.post(f"/drain/{CHARTED}/hold", end=hold.key, version="7")
    assert "Somebody changed this" in faults(stale)["at"]
    assert bedside.post(f"/drain/{CHARTED}/hold", end=hold.key, version="1").status_code == 303
    assert bedside.post(f"/drain/{CHARTED}/hold", end=hold.key, version="1").status_code == 303, "sent twice"
    (hold,) = bedside.things("hold", CHARTED)
    assert hold["to_ms"] == NOW_MS and hold.version == 2


@pytest.mark.parametrize(
    ("field", "said"),
    [("reason", {}), ("reason", {"reason": "because"}), ("note", {"reason": "other"}),
     ("at", {"reason": "patient_wish", "at": ""})],
)  # fmt: skip
def test_a_hold_without_what_it_needs_is_refused(bedside: Bedside, field: str, said: dict[str, str]) -> None:
    assert field in faults(bedside.post(f"/drain/{CHARTED}/hold", **said))
    assert not bedside.things("hold", CHARTED)
