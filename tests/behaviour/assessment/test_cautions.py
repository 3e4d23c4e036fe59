"""The cautions stand on every answer, text and JSON; two of them above it; and no banned word anywhere."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from end_to_end.a_stay import ALL, folder_of
from end_to_end.the_command import called
from frame.test_words import BANNED

STAYS = (
    "none",
    "sparse_chart",
    "effort_only",
    "blocked_to_the_end",
    "massive",
    "pneumonectomy",
    "mediastinal",
    "exchanged",
)
RULES = ("air-50-8h", "strict-local")

# Read as a ward reads them: a piece of each sentence.
SENTENCES = {
    "cau-C1": "It does not decide. A licensed professional who has seen the patient decides, under local policy.",
    "cau-C3": "No reading is not a reading of zero.",
    "cau-C4": "A blocked, kinked, clamped or switched-off drain also shows no flow.",
    "cau-C5": "Data until ",
    "cau-C6": "Judged by protocol",
    "cau-C9": "Confirm name, number, side and site at the bedside.",
    "cau-C11": "The source reports flow in steps of",
}


@pytest.fixture(scope="module", params=STAYS)
def folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return folder_of(request.param, tmp_path_factory.mktemp(request.param) / "stay")


def answers(folder: Path, rule: str | None) -> tuple[str, str]:
    """(text on one line, JSON) of the same call."""
    logs = sorted(path.name for path in folder.glob("log*.csv"))
    words = ["assess", *logs, *ALL, *(("--protocol", rule) if rule else ())]
    text, document = called(*words, folder=folder), called(*words, "--json", folder=folder)
    assert text.code == document.code in (0, 3), text.err + document.err
    return " ".join(text.out.split()), document.out


@pytest.mark.parametrize("rule", [None, *RULES])
def test_every_answer_carries_its_cautions(folder: Path, rule: str | None) -> None:
    text, document = answers(folder, rule)
    found = {caution["id"]: caution["text"] for caution in json.loads(document)["cautions"]}
    for name, sentence in SENTENCES.items():
        if rule is None and name == "cau-C6":
            continue  # no rule judged
        assert sentence in text, name
        assert sentence in found[name], name


@pytest.mark.parametrize("rule", [None, *RULES])
def test_the_right_drain_and_other_causes_stand_above_the_answer(folder: Path, rule: str | None) -> None:
    text, document = answers(folder, rule)
    answer = text.index("Air leak:")
    assert text.index(SENTENCES["cau-C9"]) < text.index(SENTENCES["cau-C4"]) < answer
    for name in ("cau-C1", "cau-C3", "cau-C11"):
        assert text.index(SENTENCES[name]) > answer
    assert [caution["id"] for caution in json.loads(document)["cautions"]][:2] == ["cau-C9", "cau-C4"]


@pytest.mark.parametrize("rule", [None, *RULES])
def test_no_banned_word_is_printed(folder: Path, rule: str | None) -> None:
    text, document = answers(folder, rule)
    # the one place that says: this is none
    text, document = (re.sub(r"The drainage device's own alarms[^.]*\.", "", found) for found in (text, document))
    for word, pattern in BANNED.items():
        for sentence in re.split(r"(?<=[.;:])\s", text):
            assert not pattern.search(sentence), (word, sentence)
        for line in document.splitlines():
            assert (word == "no leak" and '"no_leak"' in line) or not pattern.search(line), (word, line)


def test_the_version_says_what_the_program_is_not(folder: Path) -> None:
    said = called("--version", folder=folder).out
    assert "Not a certified medical device." in said
    assert "clinicians and local policy decide" in said


def test_a_chart_alone_carries_its_cautions_too(folder: Path) -> None:
    ran = called(
        "assess", "--chart", "chart.csv", "--episode", "episode.toml", "--protocol", "air-50-8h", folder=folder
    )
    text = " ".join(ran.out.split())
    for name in ("cau-C1", "cau-C3", "cau-C4", "cau-C6", "cau-C9"):
        assert SENTENCES[name] in text, name
    assert "No log: this rests on what was charted." in text
