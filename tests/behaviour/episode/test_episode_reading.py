"""An episode says who and what; whatever it does not say is unknown."""

from __future__ import annotations

import pytest

from behaviour.episode.typed_chart import at
from slackwater.episode.episode import INDICATIONS, OPERATIONS, read_episode
from slackwater.episode.types import Episode

WHOLE = """
indication = "lung_resection"
goal = "dry and no air"
breathing = "own"

[patient]
id = "P-17"
age_years = 67
weight_kg = 71.5

[drain]
number = 1
side = "right"
space = "pleural"
site = "apical"
size_fr = 24
connected_at = 2033-09-13T15:19:00+02:00
shares_unit_with = [2]
shares_space_with = ["2", 3]

[operation]
kind = "lobectomy"
end = "2033-09-13T14:40:00+02:00"
"""


def read(text: str) -> Episode:
    return read_episode(text.encode(), "e.toml")


def test_every_key_is_read() -> None:
    assert read(WHOLE) == Episode(
        patient_id="P-17",
        age_years=67.0,
        weight_kg=71.5,
        drain_number="1",
        side="right",
        space="pleural",
        site="apical",
        size_fr=24.0,
        connected_at=at(13) + 19 * 60_000,
        shares_unit_with=("2",),
        shares_space_with=("2", "3"),
        shares_space_told=True,
        operation_kind="lobectomy",
        operation_end=at(12) + 40 * 60_000,
        indication="lung_resection",
        goal="dry and no air",
        breathing="own",
    )


def test_an_empty_episode_knows_nothing() -> None:
    assert read("") == Episode()
    assert read("[patient]\n[drain]\n[operation]\n") == Episode()


def test_nobody_shares_the_space_is_another_thing_than_nothing_said() -> None:
    assert read("[drain]\nshares_space_with = []").shares_space_told
    assert not read("[drain]\nnumber = 1").shares_space_told


def test_a_number_and_its_text_are_the_same_label() -> None:
    assert read("[drain]\nnumber = 2") == read('[drain]\nnumber = " 2 "')
    assert read("[patient]\nid = 4711").patient_id == "4711"


@pytest.mark.parametrize("word", OPERATIONS)
def test_every_operation_is_read(word: str) -> None:
    assert read(f'[operation]\nkind = "{word.replace("_", " ").title()}"').operation_kind == word


@pytest.mark.parametrize("word", INDICATIONS)
def test_every_indication_is_read(word: str) -> None:
    assert read(f'indication = "{word}"').indication == word


def test_an_instant_is_the_same_in_any_offset_and_as_text_or_as_toml() -> None:
    forms = ["2033-09-13T15:19:00+02:00", "2033-09-13T13:19:00Z", '"2033-09-13 15:19+02:00"']
    assert {read(f"[drain]\nconnected_at = {form}").connected_at for form in forms} == {at(13) + 19 * 60_000}


def test_a_byte_order_mark_is_tolerated() -> None:
    assert read_episode(b"\xef\xbb\xbf" + WHOLE.encode(), "e.toml") == read(WHOLE)


def test_a_newborn_has_an_age() -> None:
    assert read("[patient]\nage_years = 0").age_years == 0.0
