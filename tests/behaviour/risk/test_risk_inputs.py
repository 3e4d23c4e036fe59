"""What is known of a patient: read in closed words; one fault each is refused with its line and its mend."""

from __future__ import annotations

import re

import pytest

from slackwater.errors import RefusedInput
from slackwater.risk.inputs import RiskInputError, RiskInputs
from slackwater.risk.read import read_risk_inputs

# (file, the words of the error behind 'p.toml')
BROKEN: list[tuple[str, str]] = [
    ("[patient]\nsex = male", r", line 2, column \d+: is not TOML: .*Write lines such as bmi = 24\.5"),
    ("[patient]\nbmi = 24\nbmi = 25", r", line 3.*: is not TOML.*overwrite"),
    ("[patient]\n\nfev = 72", r", line 3, patient\.fev: is not a key of a score.*slackwater risk --keys"),
    ("[patient]\nfev1_precent = 72", r", line 2, patient\.fev1_precent: .*Did you mean 'fev1_percent'\?"),
    ("[patient]\nbubbling_record_3 = 2", r", line 2, patient\.bubbling_record_3: is not a key"),
    ("bmi = 24", r", line 1, bmi: stands in the wrong place\. Write it under \[patient\]"),
    ("# a note\n[drain]\nside = 'left'", r", line 2, drain: is not known here\. The file has one table, \[patient\]"),
    ("patient = 1", r", patient: is not a table"),
    ("[patient]\nsex = 'm'", r", line 2, patient\.sex: 'm' is not a word for it\. Write one of: female, male"),
    ("[patient]\nsex = 1", r", line 2, patient\.sex: 1 is not a word"),
    ("[patient]\nadhesions = false", r", line 2, patient\.adhesions: False is not a word\. Write one of: yes, no"),
    ("[patient]\nadhesions = ''", r", line 2, patient\.adhesions: '' is not a word for it"),
    ("[patient]\nresection = 'lobectmy'", r", line 2, patient\.resection: .*Did you mean 'lobectomy'\?"),
    ("[patient]\nbmi = '24'", r", line 2, patient\.bmi: '24' is not a number\. Write BMI \(kg/m²\) in digits"),
    ("[patient]\nbmi = true", r", line 2, patient\.bmi: True is not a number"),
    ("[patient]\nbmi = nan", r", line 2, patient\.bmi: nan is not a number"),
    ("[patient]\nbmi = inf", r", line 2, patient\.bmi: inf cannot be"),
    (f"[patient]\nbmi = 1{'0' * 400}", r", line 2, patient\.bmi: 1(0){19} cannot be"),
    (f"[patient]\nbmi = 1{'0' * 5000}", r": is not TOML"),
    ("[patient]\nfev1_percent = 2.1", r", line 2, patient\.fev1_percent: 2\.1 cannot be\. .*Not litres"),
    ("[patient]\nfev1_percent = 0.72", r", line 2, patient\.fev1_percent: 0\.72 cannot be\. .*from 8 to 250"),
    ("[patient]\ndlco_percent = 0", r", line 2, patient\.dlco_percent: 0 cannot be.*leave it out if it is not known"),
    ("[patient]\nmrc_dyspnoea = 5", r", line 2, patient\.mrc_dyspnoea: 5 cannot be.*counts from 1 to 5, take one off"),
    ("[patient]\nmrc_dyspnoea = 1.5", r", line 2, patient\.mrc_dyspnoea: 1\.5 is not a whole grade"),
    ("[patient]\nside = 'left'\nlobe = 'middle'", r", lobe: the left lung has no middle lobe"),
    ("[patient]\nside = 'left'\nresection = 'bilobectomy'", r", resection: a bilobectomy is on the right"),
    ("[patient]\nbubbling_record_4 = 0\nbubbling_record_5 = 5", r", bubbling records: a scale of five grades"),
]  # fmt: skip

ANSWERS = [
    ("bmi", r"--set: 'bmi' is not KEY=VALUE"),
    ("bmi=", r"--set: 'bmi=' is not KEY=VALUE"),
    ("bmi=24,5", r"--set bmi: '24,5' is not a number\. .*e\.g\. 24\.5, without a unit"),
    ("fev1_percent=72 %", r"--set fev1_percent: '72 %' is not a number"),
    ("fev1=72", r"--set fev1: is not a key of a score"),
    ("sex=man", r"--set sex: 'man' is not a word for it"),
]


def refusal(data: bytes, *answers: str) -> RiskInputError:
    with pytest.raises(RiskInputError) as caught:
        read_risk_inputs(data, "p.toml", answers)
    assert isinstance(caught.value, RefusedInput)
    assert "\n" not in str(caught.value)
    assert caught.value.mend
    return caught.value


@pytest.mark.parametrize(("text", "words"), BROKEN, ids=[text.replace("\n", " ")[:50] for text, _ in BROKEN])
def test_a_broken_file_is_refused(text: str, words: str) -> None:
    error = str(refusal(text.encode()))
    assert re.match(rf"p\.toml{words}", error), error


@pytest.mark.parametrize(("answer", "words"), ANSWERS, ids=[answer for answer, _ in ANSWERS])
def test_a_broken_answer_is_refused(answer: str, words: str) -> None:
    error = str(refusal(b"", answer))
    assert re.match(words, error), error


def test_bytes_that_are_no_text_are_refused() -> None:
    assert "line 2" in str(refusal(b"[patient]\nsex = '\xff'"))


def test_one_key_answered_in_two_ways_is_refused() -> None:
    assert str(refusal(b"[patient]\nbmi = 24", "bmi=25")) == (
        "--set bmi: is answered in two ways: 24.0 and 25.0. Keep one of them."
    )
    assert read_risk_inputs(b"[patient]\nbmi = 24", "p.toml", ["bmi=24.0"]).values == {"bmi": 24.0}


def test_words_are_read_whatever_their_case_and_joints() -> None:
    found = read_risk_inputs(b'[patient]\nsex = "Male"\nresection = "Volume reduction"', "p.toml")
    assert found.values == {"sex": "male", "resection": "volume_reduction"}


def test_an_empty_file_says_nothing_at_all() -> None:
    assert not read_risk_inputs(b"", "p.toml").values
    assert not read_risk_inputs(b"[patient]\n", "p.toml").values


def test_inputs_made_in_python_are_read_by_the_same_rules() -> None:
    with pytest.raises(RiskInputError, match="sex: 'man' is not a word for it"):
        RiskInputs({"sex": "man"})
    with pytest.raises(RiskInputError, match="fev: is not a key of a score"):
        RiskInputs({"fev": 72})
    with pytest.raises(TypeError):
        RiskInputs({"bmi": 24}).values["bmi"] = 30  # type: ignore[index]
