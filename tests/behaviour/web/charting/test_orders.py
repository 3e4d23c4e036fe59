"""Orders of suction: four units side by side, slips asked about, contraindications stop, read back before it stands.

1 kPa is 10.2 cmH2O and 1 mmHg is 1.36 cmH2O by the definitions of the units (ISO 80000-4). That suction is not added
after pneumonectomy is common practice, no source. The rest is the pages' own behaviour.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from behaviour.web.charting.a_bedside import CHARTED, LOGGED, NO_LUNG, NOW_MS, Bedside, a_bedside, faults

DETAILS = {"reason": "lung not up on the film", "review": "2041-03-08T08:00", "may_be_off_min": "20"}


@pytest.fixture
def bedside(tmp_path: Path) -> Iterator[Bedside]:
    with a_bedside(tmp_path, "registrar") as one:
        yield one


def seen(answer_text: str) -> str:
    return answer_text.split('name="seen" value="')[1].split('"')[0]


def confirm(bedside: Bedside, drain: str, once: str = "", **said: str) -> Any:
    mark = seen(bedside.get(f"/drain/{drain}/order").text)
    return bedside.post(f"/drain/{drain}/order", once=once, seen=mark, confirmed="1", heard="on", **{**DETAILS, **said})


def test_the_level_stands_in_every_unit_before_anything_is_recorded(bedside: Bedside) -> None:
    answer = bedside.post(f"/drain/{LOGGED}/order", show="1", level="2", unit="kPa")
    assert answer.status_code == 200
    for text in ("-2 kPa", "-20.39 cmH2O", "-15 mmHg", "-20 hPa (mbar)"):
        assert f">{text}</li>" in answer.text
    assert not bedside.things("order", LOGGED)


def test_it_is_read_back_on_a_second_page_and_only_recorded_from_there(bedside: Bedside) -> None:
    said = {"level": "15", "unit": "cmH2O", **DETAILS}
    back = bedside.post(f"/drain/{LOGGED}/order", **said)
    assert back.status_code == 200 and "Suction -15 cmH2O:" in back.text and not bedside.things("order", LOGGED)
    assert "weaker than the last order" in back.text
    unheard = bedside.post(f"/drain/{LOGGED}/order", seen=seen(back.text), confirmed="1", **said)
    assert "Read the sentence aloud" in faults(unheard)["heard"] and not bedside.things("order", LOGGED)
    assert confirm(bedside, LOGGED, level="15", unit="cmH2O").status_code == 303
    (order,) = bedside.things("order", LOGGED)
    assert (order["level"], order["unit"], order["from_ms"]) == ("-15", "cmH2O", NOW_MS)
    assert order["may_be_off_min"] == 20 and order["reason"].startswith("lung not up")
    assert order["review_ms"] == NOW_MS + 23 * 3_600_000


def test_another_order_ends_the_one_before_it(bedside: Bedside) -> None:
    confirm(bedside, LOGGED, level="15", unit="cmH2O")
    bedside.later(60)
    mark = seen(bedside.get(f"/drain/{LOGGED}/order").text)
    said = {**DETAILS, "unit": "none_added", "at": "2041-03-07T10:00", "seen": mark, "confirmed": "1", "heard": "on"}
    assert bedside.post(f"/drain/{LOGGED}/order", **said).status_code == 303
    first, second = sorted(bedside.things("order", LOGGED), key=lambda one: one["from_ms"])
    assert first["until_ms"] == second["from_ms"] and second["level"] == "none_added" and second["unit"] is None


def test_the_same_form_twice_is_one_order(bedside: Bedside) -> None:
    mark = seen(bedside.get(f"/drain/{LOGGED}/order").text)
    said = {"level": "15", "unit": "cmH2O", "seen": mark, "confirmed": "1", "heard": "on", **DETAILS}
    for _ in range(2):
        assert bedside.post(f"/drain/{LOGGED}/order", once="ordered-once", **said).status_code == 303
    assert len(bedside.things("order", LOGGED)) == 1


def test_what_was_read_back_does_not_stand_if_another_ordered_meanwhile(bedside: Bedside) -> None:
    mark = seen(bedside.get(f"/drain/{LOGGED}/order").text)
    confirm(bedside, LOGGED, level="10", unit="cmH2O", at="2041-03-07T08:00")
    late = bedside.post(
        f"/drain/{LOGGED}/order", level="15", unit="cmH2O", seen=mark, confirmed="1", heard="on", **DETAILS
    )
    assert "Another order was recorded meanwhile" in faults(late)["level"]
    assert len(bedside.things("order", LOGGED)) == 1


@pytest.mark.parametrize(
    ("level", "unit", "asked"),
    [
        ("20", "kPa", "about ten times"),  # 20 cmH2O was meant
        ("2", "cmH2O", "about a tenth"),  # 2 kPa was meant
        ("20", "mmHg", "1.36 times"),  # 20 cmH2O is ordered, and delivered
    ],
)
def test_slips_of_a_unit_are_asked_about_and_answered_by_typing_it_again(
    bedside: Bedside, level: str, unit: str, asked: str
) -> None:
    answer = bedside.post(f"/drain/{LOGGED}/order", level=level, unit=unit, **DETAILS)
    found = faults(answer)
    (field,) = [name for name in found if name.startswith("answer_")]
    assert asked in answer.text
    wrong = bedside.post(f"/drain/{LOGGED}/order", level=level, unit=unit, **{field: "20 cmH2O"}, **DETAILS)
    assert "is not the order" in faults(wrong)[field]
    right = bedside.post(f"/drain/{LOGGED}/order", level=level, unit=unit, **{field: f"{level} {unit}"}, **DETAILS)
    assert right.status_code == 200 and "Read the order back" in right.text


def test_suction_after_pneumonectomy_stops_and_no_suction_does_not(bedside: Bedside) -> None:
    answer = bedside.post(f"/drain/{NO_LUNG}/order", level="10", unit="cmH2O", **DETAILS)
    assert "not added after pneumonectomy" in faults(answer)["level"] and "<b>Stop.</b>" in answer.text
    answer = confirm(bedside, NO_LUNG, level="10", unit="cmH2O")
    assert answer.status_code == 422 and not bedside.things("order", NO_LUNG)
    seal = bedside.post(f"/drain/{NO_LUNG}/order", unit="none_added", **DETAILS)
    assert seal.status_code == 200 and "even a water seal may shift the mediastinum" in seal.text


def test_an_operation_that_nobody_recorded_is_asked_for(bedside: Bedside) -> None:
    answer = bedside.post(f"/drain/{CHARTED}/order", level="10", unit="cmH2O", **DETAILS)
    assert "answer_operation" in faults(answer)
    said = {"level": "10", "unit": "cmH2O", **DETAILS}
    stopped = bedside.post(f"/drain/{CHARTED}/order", answer_operation="pneumonectomy", **said)
    assert "not added after pneumonectomy" in faults(stopped)["answer_operation"]
    assert bedside.post(f"/drain/{CHARTED}/order", answer_operation="lobectomy", **said).status_code == 200


@pytest.mark.parametrize(
    ("field", "said"),
    [
        ("level", {"level": "", "unit": "kPa"}),
        ("level", {"level": "2,0", "unit": "kPa"}),
        ("level", {"level": "twenty", "unit": "kPa"}),
        ("level", {"level": "2", "unit": "none_added"}),
        ("level", {"level": "0", "unit": "cmH2O"}),
        ("unit", {"level": "20", "unit": "psi-ish"}),
        ("reason", {"level": "20", "unit": "cmH2O", "reason": ""}),
        ("review", {"level": "20", "unit": "cmH2O", "review": "2041-03-06T08:00"}),
        ("may_be_off_min", {"level": "20", "unit": "cmH2O", "may_be_off_min": "1.5"}),
        ("at", {"level": "20", "unit": "cmH2O", "at": "2041-03-08T08:00"}),
    ],
)
def test_each_field_that_cannot_be_is_said_beside_it(bedside: Bedside, field: str, said: dict[str, str]) -> None:
    answer = bedside.post(f"/drain/{LOGGED}/order", **{**DETAILS, **said})
    assert field in faults(answer) and f'id="e-{field}"' in answer.text


def test_a_level_without_any_unit_is_refused(bedside: Bedside) -> None:
    assert set(faults(bedside.post(f"/drain/{LOGGED}/order", level="20", **DETAILS))) & {"level", "unit"}


def test_who_may_order(bedside: Bedside) -> None:
    for role, status in (("nurse", 403), ("physiotherapist", 403), ("specialist_nurse", 200), ("surgeon", 200)):
        bedside.as_(role)
        assert bedside.get(f"/drain/{LOGGED}/order").status_code == status
