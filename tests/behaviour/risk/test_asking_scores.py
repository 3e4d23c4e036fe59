"""When a score answers: inside its population, with nothing missing, and where its paper is not silent."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from behaviour.risk.a_patient import WHOLE, told
from slackwater.risk.inputs import KEYS, RiskInputError, RiskInputs, Value
from slackwater.risk.prolonged import OVER_5_DAYS, OVER_7_DAYS_IN_HOSPITAL, hours_after_operation, lasted
from slackwater.risk.published import NOT_COMPUTED, PUBLISHED, scores
from slackwater.risk.score import Score


def value_of(name: str) -> st.SearchStrategy[Value]:
    key = KEYS[name]
    if key.words:
        return st.sampled_from(key.words)
    if key.whole:
        return st.integers(int(key.lowest), int(key.highest))
    return st.floats(key.lowest, key.highest)


any_known = st.fixed_dictionaries({}, optional={name: value_of(name) for name in KEYS})


def asked_of(known: dict[str, Value]) -> tuple[Score, ...]:
    try:
        return scores(RiskInputs(known))
    except RiskInputError:
        return ()


@given(any_known)
def test_no_missing_input_ever_yields_points(known: dict[str, Value]) -> None:
    for score in asked_of(known):
        if set(PUBLISHED[score.id].needs) - set(known):
            assert score.points is None
        if score.points is None:
            assert (score.band, score.rates, score.parts) == (None, (), ())
            assert sum(map(bool, (score.missing, score.outside_because, score.doubt))) == 1


@given(any_known.map(lambda known: WHOLE | known), st.sampled_from(sorted(KEYS)))
def test_taking_an_answer_away_never_changes_points_to_other_points(known: dict[str, Value], name: str) -> None:
    before = asked_of(known)
    after = asked_of({key: value for key, value in known.items() if key != name})
    for score, less in zip(before, after, strict=False):
        assert less.points is None or less.points == score.points


@given(any_known.map(lambda known: WHOLE | known))
def test_outside_its_population_no_score_gives_any_number(known: dict[str, Value]) -> None:
    for score in asked_of(known):
        inside = PUBLISHED[score.id].inside
        outside = [key for key, words in inside.items() if known[key] not in words]
        assert (score.status == "not_applicable") is bool(outside)
        if outside:
            assert score.points is None


def test_pneumonectomy_is_outside_every_score() -> None:
    found = scores(RiskInputs(WHOLE | {"resection": "pneumonectomy"}))
    assert {score.status for score in found} == {"not_applicable"}


def test_each_score_says_what_it_is() -> None:
    names = [score.name for score in scores(RiskInputs({}))]
    assert len(set(names)) == len(PUBLISHED)
    for score in scores(RiskInputs(WHOLE)):
        assert score.source
        assert score.population
        assert score.outcome.source
        assert score.status == "told"
        assert not any(word in score.name for word in ("IPAL", "PALS", "PAL ", "SUM", "ALE"))


def test_what_a_paper_leaves_open_cannot_be_told_and_both_readings_are_said() -> None:
    assert told("gilbert", mrc_dyspnoea=1).answer == (
        "cannot tell: 0 to 1 point, as the abstract does not say whether its MRC grades count from 0 or from 1"
    )
    upper = {"side": "right", "lobe": "upper_and_other"}
    assert told("seder", **upper).answer.startswith("cannot tell: 6 to 9 points")
    assert told("seder", **upper | {"side": "left"}).status == "told"
    assert told("rivera", **upper).answer.startswith("cannot tell: 3 to 7 points")


def test_a_paper_without_its_weights_is_named_and_not_computed() -> None:
    assert {paper.id for paper in NOT_COMPUTED} == {"attaar", "leak-episode"}
    assert all("weights not seen" in paper.why for paper in NOT_COMPUTED)
    assert not {paper.id for paper in NOT_COMPUTED} & set(PUBLISHED)


def test_a_leak_that_was_left_running_is_a_lower_bound() -> None:
    assert lasted(100, OVER_5_DAYS, ended=False).prolonged is None
    assert lasted(100, OVER_5_DAYS, ended=False).censored
    assert lasted(121, OVER_5_DAYS, ended=False).prolonged is True


def test_an_unknown_end_of_operation_cannot_be_told() -> None:
    assert lasted(hours_after_operation(None, 1), OVER_5_DAYS, ended=True).prolonged is None


def test_hours_do_not_show_whether_the_hospital_was_needed() -> None:
    assert lasted(200, OVER_7_DAYS_IN_HOSPITAL, ended=True).prolonged is None
    assert lasted(160, OVER_7_DAYS_IN_HOSPITAL, ended=True).prolonged is False
