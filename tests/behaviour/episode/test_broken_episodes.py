"""Episodes with one fault each: refused in one line that says what, where, and the mend."""

from __future__ import annotations

import re

import pytest

from slackwater.episode.episode import read_episode
from slackwater.errors import EpisodeError

# (file, the words of the error behind 'e.toml')
BROKEN: list[tuple[str, str]] = [
    ('side = "right', r", line 1, column \d+: is not TOML"),
    ("[drain]\nside = right", r", line 2, column \d+: is not TOML: .*Write lines such as"),
    ("[drain]\nnumber = 1\nnumber = 2", r", line 3.*: is not TOML.*overwrite"),
    ("[drain]\n[drain]", r".*: is not TOML"),
    ("[drain]\nnumber = 01", r".*: is not TOML"),
    ("number: 1", r", line 1.*: is not TOML"),
    ("[dran]\nnumber = 1", r", dran: is not a key of an episode. Did you mean '\[drain\]'"),
    ("indicaton = 'other'", r", indicaton: is not a key .*Did you mean 'indication'"),
    ("[drain]\nsze_fr = 24", r", drain\.sze_fr: is not a key .*Did you mean 'size_fr'"),
    ("[patient]\nname = 'N'", r", patient\.name: is not a key of an episode. Write one of: id, age_years"),
    ("[operation]\nindication = 'other'", r", operation\.indication: stands in the wrong.*above the first"),
    ("[patient]\nside = 'left'", r", patient\.side: stands in the wrong place. Write it under \[drain\]"),
    ("weight_kg = 70", r", weight_kg: stands in the wrong place. Write it under \[patient\]"),
    ("drain = 1", r", drain: is not a table. Write \[drain\]"),
    ("[[drain]]\nnumber = 1", r", drain: is not a table"),
    ("[drain]\nside = 'rigth'", r", drain\.side: 'rigth' is not a word for it. Did you mean 'right'\?"),
    ("[drain]\nside = 'both'", r", drain\.side: .*Write one of: left, right, midline"),
    ("[drain]\nspace = 'chest'", r", drain\.space: .*pleural, mediastinal, pericardial"),
    ("[operation]\nkind = 'lobektomie'", r", operation\.kind: .*lobectomy"),
    ("indication = 'lung resection, left'", r", indication: .*lung_resection"),
    ("breathing = 'ventilator'", r", breathing: .*own, high_flow, niv_cpap, invasive"),
    ("breathing = true", r", breathing: True is not text"),
    ("[drain]\nside = ''", r", drain\.side: is empty. Leave the key out"),
    ("[patient]\nid = '  '", r", patient\.id: is empty"),
    ("[patient]\nid = 1.5", r", patient\.id: 1\.5 is not text"),
    ("[patient]\nage_years = '67'", r", patient\.age_years: '67' is not a number. Write digits"),
    ("[patient]\nage_years = -1", r", patient\.age_years: -1 cannot be. Write it in years"),
    ("[patient]\nage_years = 1966", r", patient\.age_years: 1966 cannot be"),
    ("[patient]\nage_years = nan", r", patient\.age_years: nan is not a number"),
    ("[patient]\nage_years = inf", r", patient\.age_years: inf is not a number"),
    ("[patient]\nage_years = true", r", patient\.age_years: True is not a number"),
    ("[patient]\nweight_kg = 0", r", patient\.weight_kg: 0 cannot be. Write it in kg"),
    ("[patient]\nweight_kg = 3200", r", patient\.weight_kg: 3200 cannot be. Write it in kg"),
    ("[patient]\nweight_kg = '70 kg'", r", patient\.weight_kg: .*without a unit"),
    ("[drain]\nsize_fr = 240", r", drain\.size_fr: 240 cannot be. Write it in fr"),
    ("[drain]\nsize_fr = '24 Fr'", r", drain\.size_fr: .*is not a number"),
    ("[drain]\nconnected_at = 2033-09-13T15:19:00", r", drain\.connected_at: .*its clock stood.*\+02:00"),
    ("[drain]\nconnected_at = 2033-09-13", r", drain\.connected_at: .*where its clock stood"),
    ("[drain]\nconnected_at = 15:19:00", r", drain\.connected_at: .*where its clock stood"),
    ("[drain]\nconnected_at = '2033-09-13T15:19'", r", drain\.connected_at: .*zone is not said.*\+02:00"),
    ("[drain]\nconnected_at = '13.9.2033'", r", drain\.connected_at: .*not a date and time"),
    ("[operation]\nend = 1234567890", r", operation\.end: 1234567890 is not a date and time"),
    ("[operation]\nend = ''", r", operation\.end: '' is not a date and time"),
    ("[drain]\nnumber = 1\nshares_unit_with = '2'", r", drain\.shares_unit_with: '2' is not a list"),
    ("[drain]\nshares_space_with = [2.5]", r", drain\.shares_space_with: .*is not a list of drains"),
    ("[drain]\nshares_space_with = [true]", r", drain\.shares_space_with: .*is not a list of drains"),
    ("[drain]\nshares_space_with = ['']", r", drain\.shares_space_with: names an empty drain"),
    ("[drain]\nnumber = 1\nshares_space_with = [1]", r", drain\.shares_space_with: names drain 1 itself"),
    (f"goal = '{'x' * 501}'", r", goal: is longer than 500 characters"),
]  # fmt: skip


def refusal(data: bytes) -> EpisodeError:
    with pytest.raises(EpisodeError) as caught:
        read_episode(data, "e.toml")
    assert "\n" not in str(caught.value), "an error is one line"
    assert caught.value.mend, "an error names the mend"
    assert caught.value.exit_code == 2
    return caught.value


@pytest.mark.parametrize(("text", "words"), BROKEN, ids=[text.replace("\n", " ")[:50] for text, _ in BROKEN])
def test_a_broken_episode_is_refused(text: str, words: str) -> None:
    error = str(refusal(text.encode()))
    assert re.match(rf"e\.toml{words}", error), error


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"\xff\xfe[\x00", "UTF-16"),
        (b"goal = '\xe4'", "line 1: byte 0xe4 is not UTF-8"),
        (b"goal = 'a\x00'", r"U+0000"),
        (b"a=" + b"[" * 100_000, "is not TOML"),
    ],
)
def test_bytes_that_are_no_plain_text_are_refused(data: bytes, words: str) -> None:
    assert words in str(refusal(data))
