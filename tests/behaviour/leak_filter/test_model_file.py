"""The parameters file: read strictly, and a mistake is named with its mend."""

from __future__ import annotations

import pytest

from slackwater.errors import RefusedInput, SlackwaterError
from slackwater.leak.filter import model as model_file
from slackwater.leak.filter.model import FilterModel, TrendModel, from_toml, shipped_model, to_toml


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[sise]\n", "ours.toml: there is no table sise. Take it out."),
        ("[size]\ncels = 3\n", "ours.toml, size: there is no cels. Known: cells,"),
        ("[size]\nwalk = 'far'\n", "ours.toml, size.walk: needs a number. Write one, e.g. 0.1."),
        ("[trend]\nspeeds = [0.1, 0.2]\n", "ours.toml, trend.speeds: needs 5 numbers. stuck, slow,"),
        ("[trend]\nspeeds = 0.1\n", "ours.toml, trend.speeds: needs a list of numbers. Write [0.1, 0.2]."),
        ("[operations.wedge]\nsealled = 0.4\n", "ours.toml, operations.wedge: there is no sealled."),
    ],
)
def test_a_mistake_is_named_with_its_mend(text: str, said: str) -> None:
    with pytest.raises(RefusedInput) as refused:
        from_toml(text, "ours.toml")
    assert str(refused.value).startswith(said)


def test_text_that_is_not_toml_is_refused() -> None:
    with pytest.raises(RefusedInput, match=r"ours\.toml: .*Write it as TOML"):
        from_toml("size = ", "ours.toml")


def test_an_operation_may_have_its_own_start_and_others_share_one() -> None:
    model = from_toml("[operations.lobectomy]\nsealed = 0.42\n", "ours.toml")
    assert model.trend_for("lobectomy").sealed == 0.42
    assert model.trend_for("wedge") == model.trend_for(None) == TrendModel()


def test_the_shipped_numbers_say_where_they_come_from() -> None:
    assert "not from patients" in shipped_model().provenance


def test_shipped_numbers_that_cannot_be_read_are_a_fault_of_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> FilterModel:
        raise RefusedInput("there is no table sise", where="parameters.toml")

    monkeypatch.setattr(model_file, "from_toml", broken)
    shipped_model.cache_clear()
    with pytest.raises(SlackwaterError, match="there is no table sise") as fault:
        shipped_model()
    assert fault.value.exit_code == 1
    shipped_model.cache_clear()


def test_uncertainty_is_written_beside_the_numbers_and_ignored_when_read() -> None:
    text = to_toml(FilterModel(provenance="tried"), {"trend.sealed": 0.25})
    assert '"trend.sealed" = 0.25' in text
    assert from_toml(text, "ours.toml").trend == TrendModel()
