"""The forecast of a rule: clauses, the whole, what waits on a person, and when it is withheld."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from behaviour.forecast.a_forecast import judged
from slackwater.forecast.air import MET_NOW, Times
from slackwater.forecast.whole import SHARES, Hours, forecast, hours, latest, withheld
from slackwater.quantities.spans import MINUTE_MS


def test_a_leak_that_heals_has_a_forecast_with_ordered_quantiles() -> None:
    air = judged("healing", "air-20-8h").forecast().clauses["air"]
    assert air.quantiles is not None and air.probability_by_hours is not None
    known = [air.quantiles[name] for name in SHARES if air.quantiles[name] is not None]
    assert known and known == sorted(known, key=lambda value: value or 0.0)
    chances = list(air.probability_by_hours.values())
    assert chances == sorted(chances)


def test_nothing_is_said_beyond_the_horizon_that_was_tried() -> None:
    found = judged("healing", "air-20-8h").forecast()
    assert found.clauses["air"].quantiles is not None
    assert all(value is None or value <= found.horizon_h for value in found.clauses["air"].quantiles.values())


def test_a_clause_that_holds_is_due_now() -> None:
    found = judged("none", "air-50-8h").forecast()
    assert found.clauses["air"].quantiles == dict.fromkeys(SHARES, 0.0)
    assert found.clauses["air"].probability_by_hours == {6: 1.0, 12: 1.0, 24: 1.0, 48: 1.0}


def test_clauses_for_a_person_are_listed_and_not_forecast() -> None:
    found = judged("healing", "strict-local").forecast()
    assert found.waiting_on_person
    assert not set(found.waiting_on_person) & set(found.clauses)


def test_the_whole_comes_no_sooner_than_any_clause() -> None:
    found = judged("healing", "fluid-300").forecast()
    assert found.whole.probability_by_hours is not None
    for clause in found.clauses.values():
        assert clause.probability_by_hours is not None
        for hour, chance in found.whole.probability_by_hours.items():
            assert chance <= clause.probability_by_hours[hour] + 1e-9


def test_where_all_that_can_be_forecast_holds_the_whole_still_waits_on_a_person() -> None:
    found = judged("none", "air-50-8h").forecast()
    if found.waiting_on_person:
        assert found.whole.withheld_because == "all that can be forecast holds; what is left waits on a person"
    else:
        assert found.whole.quantiles == dict.fromkeys(SHARES, 0.0)


def test_it_is_withheld_with_little_data() -> None:
    found = judged("healing", "air-20-8h", 5.0).forecast()
    assert found.clauses["air"] == Hours(None, None, "fewer than 6 h of assessable data since connection")
    assert found.whole.withheld_because == "fewer than 6 h of assessable data since connection"
    assert found.outlasts_day_5.chance is None


@pytest.mark.parametrize(
    ("about", "word"),
    [
        ({"operation.kind": "pneumonectomy"}, "pneumonectomy"),
        ({"breathing": "invasive"}, "breathing"),
        ({"drain.space": "mediastinal"}, "pleural space"),
        ({"patient.age_years": 9.0}, "children"),
    ],
)
def test_it_is_withheld_where_it_was_never_tried(about: dict[str, str | float], word: str) -> None:
    made = judged("healing", "air-20-8h")
    facts = replace(made.assessment.facts, about={**made.assessment.facts.about, **about})
    assert word in (withheld(facts, made.given) or "")


def test_it_is_withheld_when_the_last_hour_is_in_doubt() -> None:
    made = judged("healing", "air-20-8h")
    usable = made.given.usable.copy()
    usable[-60:] = False
    reason = withheld(made.assessment.facts, replace(made.given, usable=usable))
    assert reason == "the last hour of data is missing or in doubt"


def test_it_is_withheld_when_the_data_are_old() -> None:
    made = judged("healing", "air-20-8h")
    later = replace(made.assessment.facts, now_ms=made.assessment.facts.now_ms + 61 * MINUTE_MS)
    assert withheld(later, made.given) == "the last data are over an hour old"


def test_the_caller_may_withhold_it() -> None:
    found = judged("healing", "air-20-8h").forecast(doubt="air is going into the tissues")
    assert found.clauses["air"].withheld_because == "air is going into the tissues"


def test_outside_its_population_a_rule_has_no_forecast() -> None:
    found = judged("healing", "cardiac-150-4h").forecast()
    assert not found.clauses
    assert found.whole.withheld_because == "the rule is not made for this patient"


def test_day_5_counts_from_the_end_of_the_operation() -> None:
    outlasts = judged("healing", "air-20-8h").forecast().outlasts_day_5
    assert outlasts.clock == "operation.end"
    assert outlasts.chance is not None and 0.0 <= outlasts.chance <= 1.0


def test_without_an_operation_day_5_counts_from_connection_and_says_so() -> None:
    made = judged("healing", "air-20-8h")
    about = {key: value for key, value in made.assessment.facts.about.items() if key != "operation.end"}
    facts = replace(made.assessment.facts, about=about)
    assert made.assessment.evaluation is not None
    found = forecast(made.assessment.evaluation, facts, made.given, made.filtered, fluid=made.fluid)
    assert found.outlasts_day_5.clock == "connected"


def test_the_latest_of_independent_times_has_the_product_of_chances() -> None:
    one = Times(np.array([0.0, 60.0, 120.0]), np.array([0.0, 0.5, 1.0]))
    assert latest([one, one, MET_NOW]).by(60.0) == pytest.approx(0.25)
    assert latest([MET_NOW, MET_NOW]) is MET_NOW


def test_hours_are_said_in_hours() -> None:
    found = hours(Times(np.array([0.0, 90.0, 2880.0]), np.array([0.0, 0.6, 0.6])))
    assert found.quantiles == {
        "q05": 1.5, "q10": 1.5, "q25": 1.5, "q50": 1.5, "q75": None, "q90": None, "q95": None,
    }  # fmt: skip
    assert found.probability_by_hours == {6: 0.6, 12: 0.6, 24: 0.6, 48: 0.6}
