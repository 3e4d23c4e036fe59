"""The page, read back from its HTML: what stands on it, in what order, and what it never does."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import slackwater
from behaviour.report.a_hostile_record import TEXTS, hostile
from behaviour.report.a_picture import simulated
from behaviour.report.read_page import Node, parts, read_page, skeleton, spoken, trace
from end_to_end.a_stay import ALL, folder_of
from end_to_end.the_command import called
from property.a_small_stay import PROTOCOL, RULE, Said, chart_text, healed, judged
from slackwater.assessment.assessment import Assessment
from slackwater.assessment.document import stamp
from slackwater.leak.words import CANNOT_TELL, REASONS
from slackwater.quantities.spans import format_span
from slackwater.report.page import TURNING, page
from slackwater.risk import RiskInputs, scores

WARD = timezone(timedelta(hours=1))
KNOWN = {"resection": "lobectomy", "adhesions": "no", "fev1_percent": 70, "dlco_percent": 60}


def shown(found: Assessment, **how: object) -> Node:
    return read_page(page(found, WARD, **how))  # type: ignore[arg-type]


def order(of: Node, *found: Node) -> list[int]:
    """Where each stands in the page."""
    places = {id(node): at for at, node in enumerate(of)}
    return [places[id(node)] for node in found]


# --- texts that somebody typed --------------------------------------------------------------------


@pytest.mark.parametrize("kind", [kind for kind in TEXTS if kind != "plain"])
@pytest.mark.parametrize("removal", [True, False], ids=["rule", "no rule"])
def test_no_text_of_a_record_becomes_part_of_the_page(kind: str, removal: bool) -> None:
    plain, other = (shown(hostile(name, removal=removal)) for name in ("plain", kind))
    assert skeleton(other) == skeleton(plain)
    assert len(other.all("script")) == 2 and not other.all("img")
    flat = " ".join(TEXTS[kind][:500].translate(TURNING).split())
    whole = other.text
    assert flat in whole and flat in other.one("title").children[0].replace("\n", " ")  # type: ignore[union-attr]
    assert whole.count(flat) >= 4  # patient, site, file, rule
    notes = [event["words"] for event in trace(other)["events"] if event["words"].startswith("note: ")]
    text = TEXTS[kind].translate(TURNING)
    assert notes and all(note.removeprefix("note: ").rstrip("…") in text for note in notes)


def test_a_character_that_turns_words_around_is_named_and_not_obeyed() -> None:
    """The nine directional formatting characters of Unicode's UAX 9; letters of any script stay."""
    html = page(hostile("right to left"), WARD)
    assert not set(html) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
    head = read_page(html).one("p", cls="drain").text
    assert "[U+202E]תילאמש" in head and "left" in head


@pytest.mark.parametrize("kind", ["script", "quotes"])
def test_the_units_own_words_for_an_item_are_shown_as_written(kind: str) -> None:
    page_ = shown(hostile(kind))
    assert " ".join(TEXTS[kind].split()) in parts(page_, "items")["much"].text
    assert " ".join(TEXTS[kind].split()) in page_.one("ul", cls="items").text


def test_the_page_asks_for_nothing_and_links_only_into_itself() -> None:
    html = page(simulated("demo"), WARD, scores=scores(RiskInputs(KNOWN)))
    page_ = read_page(html)
    for node in page_:
        assert not {"src", "srcset", "action", "poster", "background", "ping"} & set(node.attrs), node.tag
        assert node.attrs.get("href", "#").startswith("#")
        assert not [name for name in node.attrs if name.startswith("on")]
    styles = "".join(str(text) for style in page_.all("style") for text in style.children)
    assert not re.search(r"@import|url\((?!#)|@font-face|https?:", styles)
    ids = {node.attrs["id"] for node in page_ if "id" in node.attrs}
    assert {node.attrs["href"][1:] for node in page_.all("a")} <= ids
    assert len(ids) == sum("id" in node.attrs for node in page_)


# --- little to show -------------------------------------------------------------------------------


def chart_alone(protocol: slackwater.Protocol | None = PROTOCOL) -> Assessment:
    said = (
        Said(30, "cough", "leak"),
        Said(200, "fluid_output", "60", "mL"),
        Said(300, "air_leak_read", "40", "mL/min"),
    )
    return slackwater.assess([], chart=slackwater.read_chart(chart_text(said), "chart.csv"), protocol=protocol)


@pytest.mark.parametrize("protocol", [PROTOCOL, None], ids=["rule", "no rule"])
def test_a_drain_without_a_log_has_a_page_that_says_so(protocol: slackwater.Protocol | None) -> None:
    page_ = shown(chart_alone(protocol))
    assert "cannot tell; no log, or nothing recorded in it" in page_.one("h1").text
    assert "No log: this rests on what was charted." in page_.one(data_caution="cau-C5").text
    assert "data until not known" in page_.one("header").text
    assert "nothing to forecast" in page_.one("section", id="forecast").text
    assert not page_.one("section", id="forecast").all("svg")
    assert page_.one("section", id="doubts").text.endswith("No log was read.")
    assert "Log:" not in page_.one("section", id="record").text
    hours = page_.one("section", id="picture").all("tr")[1:]
    assert hours and all("no log" in row.text for row in hours)


def test_without_an_episode_nobody_is_named() -> None:
    assert (
        shown(chart_alone())
        .one("header")
        .text.startswith("Patient not named · drain not numbered · side not recorded · space not recorded")
    )


def test_without_a_rule_the_page_answers_the_leak_alone() -> None:
    page_ = shown(judged(healed(), protocol=None))
    assert "below limit" in page_.one("h1").text and "no clinical limit" in page_.one("h1").text
    assert page_.one("p", cls="rule").text == "Rule: none was asked for."
    assert "no rule for removal was given" in page_.one("section", id="answer").text
    assert not page_.all(data_part=None)


def test_a_rule_that_only_watches_has_a_page() -> None:
    head, items = RULE.partition(b"[guards]")[0], RULE[RULE.index(b"[[escalation]]") :]
    page_ = shown(judged(healed(), protocol=slackwater.load_protocol(head + items, "items.toml")))
    assert "has no removal clauses" in page_.one("p", cls="rule").text
    assert "no rule for removal was given" in page_.one("section", id="answer").text
    assert set(parts(page_, "items")) == {"much", "clamped"}
    assert not parts(page_, "clauses") and not page_.all("section", id="guards")


def test_a_rule_that_does_not_apply_says_why_and_waits_for_nothing() -> None:
    page_ = shown(simulated("pneumonectomy"))
    assert "does not apply: " in page_.one("p", cls="rule").text
    assert "not made for this drain" in page_.one("div", cls="waits").text
    assert not page_.all("ul", id="waiting") and "Look again" not in page_.text
    assert "STOP AND CHECK" in page_.one("section", aria_label="Warnings").text
    assert " met" not in page_.one("section", id="answer").text
    assert "not judged" in page_.one("section", id="picture").text


def test_a_stay_of_two_readings_has_a_page() -> None:
    short = healed()
    short = replace(short, readings=short.readings[:2], said=())
    page_ = shown(judged(short))
    assert page_.one("h1").text == "◆ Air leak: leaking, 112 to 118 mL/min at Mon 06 May 07:02."
    assert page_.one("p", cls="rule").text.endswith("not met.")


# --- order, and what is never out of sight --------------------------------------------------------


def test_the_cautions_of_a_verdict_are_read_before_it() -> None:
    """Which ones: right drain, other causes, support only; rule in force, out of scope, measurement limits."""
    page_ = shown(simulated("demo"))
    answer = page_.one("section", id="answer")
    names = ("cau-C9", "cau-C4", "cau-C1", "cau-C6", "cau-C10", "cau-C11")
    above = [page_.one(data_caution=name) for name in names]
    picture = page_.one("section", id="picture")
    places = order(page_, *above, answer, picture)
    assert places == sorted(places)


def test_dangers_stand_before_all_else() -> None:
    page_ = shown(simulated("pneumonectomy"))
    warned, caution = page_.one("section", aria_label="Warnings"), page_.one(data_caution="cau-C9")
    assert order(page_, warned, caution) == sorted(order(page_, warned, caution))


def test_the_caution_of_the_forecast_stands_before_its_number() -> None:
    page_ = shown(simulated("step_down", "strict-local"))
    section = page_.one("section", id="forecast")
    caution, number = section.one(data_caution="cau-C7"), section.one("p", cls="found")
    assert order(page_, caution, number) == sorted(order(page_, caution, number))


def test_what_is_waited_for_and_what_is_to_be_known_stand_in_the_answer() -> None:
    found = simulated("clock_back", "air-20-8h")
    assert found.waiting_for and found.notes
    answer = shown(found).one("section", id="answer").text
    assert all(text in answer for text in (*found.waiting_for, *found.notes))


def test_look_again_names_the_last_of_the_earliest_times() -> None:
    found = simulated("dropout", "air-20-8h")
    document = slackwater.document(found)
    parts_ = [part for part in (*document["criteria"], *document["guards"]) if part["status"] != "met"]
    times = [need["by_when"] for part in parts_ for need in part["needs"] if need["by_when"]]
    if document["overall"] == "met" or not times:
        pytest.fail("the stay no longer waits for hours")
    last = max(datetime.fromisoformat(time) for time in times).astimezone(WARD)
    assert f"Look again at {last:%a %d %b %H:%M} at the earliest" in shown(found).text


def test_guards_that_the_rule_waives_are_said_to_be_waived() -> None:
    rule = re.sub(rb"\[guards\].*?\n\[\[", b'guards = "none"\n[[', RULE, count=1, flags=re.DOTALL)
    rule = rule.replace(b'guards = "none"\n', b"").replace(b"[applies]", b'guards = "none"\n[applies]', 1)
    page_ = shown(judged(healed(), protocol=slackwater.load_protocol(rule, "waived.toml")))
    assert "waived by the rule" in page_.one("section", id="guards").text


def test_an_hour_that_comes_twice_is_told_apart() -> None:
    """Europe/Vienna goes back at 01:00 UTC on 2041-10-27, by Python's zoneinfo."""
    found = simulated("dst_autumn")
    text = read_page(page(found, ZoneInfo("Europe/Vienna"))).one("section", id="picture").text
    assert "Sun 27 Oct 02:00 UTC+02:00" in text and "Sun 27 Oct 02:00 UTC+01:00" in text


# --- doubt ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["demo", "dropout", "clock_back", "blocked_to_the_end"])
def test_every_minute_that_cannot_be_told_is_counted_where_minutes_are_distrusted(name: str) -> None:
    found = simulated(name)
    assert found.leak_trace is not None
    state, reason = found.leak_trace.state, found.leak_trace.reason
    page_ = shown(found)
    told = {node.attrs["data-doubt"]: node.one("h3").text for node in page_.all("li", data_doubt=None)}
    for word in REASONS:
        minutes = int(((state == CANNOT_TELL) & (reason == REASONS.index(word))).sum())
        doubted = int((found.leak_trace.doubt.reason == REASONS.index(word)).sum()) if word else minutes
        assert (word in told) == (doubted > 0)
        assert not doubted or told[word] == format_span(60.0 * doubted)
    unsure = page_.one("p", id="unsure").text
    assert unsure.startswith(f"{format_span(60.0 * int((state == CANNOT_TELL).sum()))} of ")
    late = int((state[-480:] == CANNOT_TELL).sum())
    assert f"{format_span(60.0 * late) if late else 'none'} of it in the last 8 h." in unsure


def test_each_doubt_leads_to_its_minutes() -> None:
    found = simulated("dropout")
    assert found.leak_trace is not None
    start = found.leak_trace.minutes.start_ms
    for item in shown(found).all("li", data_doubt=None):
        code = REASONS.index(item.attrs["data-doubt"])
        flags = found.leak_trace.doubt.reason == code if code else found.leak_trace.reason == 0
        for button in item.all("button"):
            first, last = ((int(button.attrs[name]) - start) // 60_000 for name in ("data-from", "data-to"))
            assert last > first and np.all(flags[first:last])


def test_a_stay_without_a_doubt_says_so() -> None:
    found = judged(healed())
    page_ = shown(found)
    assert found.leak_trace is not None
    doubted = bool((found.leak_trace.state == CANNOT_TELL).any())
    assert bool(page_.all("p", id="unsure")) == doubted
    assert ("None of 720 minutes was distrusted or missing." in page_.text) == (not doubted)


def test_a_clause_with_more_evidence_than_is_listed_counts_the_rest() -> None:
    found = simulated("intermittent", "air-20-8h")
    assert found.evaluation is not None
    most = max(found.evaluation.criteria, key=lambda one: len(one.evidence))
    part = parts(shown(found), "clauses")[most.id]
    left = len(most.evidence) - len(part.all("button"))
    assert (f"and {left} more stretches" in part.text) == (left > 0)


# --- forecast and scores --------------------------------------------------------------------------


def test_a_clause_that_holds_is_not_drawn_as_a_forecast() -> None:
    section = shown(simulated("step_down", "strict-local")).one("section", id="forecast")
    drawn = {row.one("th").text for row in section.all("tr")[1:]}
    held = re.search(r"Held when the record ends: ([^.]*)\.", section.text)
    assert drawn and held
    assert not drawn & set(held[1].split(", "))


def test_scores_are_shown_with_what_they_were_made_for_and_change_nothing_else() -> None:
    found, asked = simulated("demo"), scores(RiskInputs(KNOWN))
    plain, with_scores = shown(found), shown(found, scores=asked)
    assert not plain.all("section", id="risk")
    section = with_scores.one("section", id="risk")
    assert with_scores.text.replace(section.text, "").split() == plain.text.split()
    assert "not a chance for this patient" in section.text
    assert "neither is ever a rule for removal" in section.text
    for score in asked:
        item = section.one("li", data_score=score.id).text
        assert score.answer in item and score.population in item and score.source in item
        assert score.outcome.text in item
        assert ("Published of groups" in item) == bool(score.rates)
    assert {score.status for score in asked} == {"told", "cannot_tell"}


def test_outside_its_population_a_score_shows_no_number() -> None:
    section = shown(simulated("demo"), scores=scores(RiskInputs({"resection": "pneumonectomy"}))).one(id="risk")
    refused = [item for item in section.all("li", data_score=None) if "does not apply" in item.text]
    assert len(refused) >= 4
    for item in refused:
        assert (
            "outside" in item.text and "Published of groups" not in item.text and not re.search(r"\d points", item.text)
        )


def test_the_command_puts_scores_beside_the_forecast(tmp_path: Path) -> None:
    folder = folder_of("none", tmp_path / "none")
    lines = "\n".join(f"{key} = {json.dumps(value)}" for key, value in KNOWN.items())
    (folder / "risk.toml").write_text(f"[patient]\n{lines}\n")
    rule = ("--protocol", "air-50-8h")
    plain = called("assess", "log.csv", *ALL, *rule, folder=folder)
    ran = called("assess", "log.csv", *ALL, *rule, "--page", "p.html", "--risk", "risk.toml", folder=folder)
    assert (ran.code, ran.out, ran.err) == (plain.code, plain.out, plain.err)
    page_ = read_page((folder / "p.html").read_text("utf-8"))
    assert page_.one("li", data_score="lee").one("p", cls="found").text == "5 points"
    forecast, risk = page_.one("section", id="forecast"), page_.one("section", id="risk")
    assert order(page_, forecast, risk) == sorted(order(page_, forecast, risk))
    refused = called("assess", "log.csv", *ALL, "--risk", "risk.toml", folder=folder)
    assert refused.code == 2 and "--page" in refused.err
    (folder / "risk.toml").write_text("[patient]\nfev1 = 70\n")
    bad = called("assess", "log.csv", *ALL, "--page", "q.html", "--risk", "risk.toml", folder=folder)
    assert bad.code == 2 and not (folder / "q.html").exists()


# --- the file itself ------------------------------------------------------------------------------


def test_the_same_assessment_gives_the_same_page() -> None:
    found = simulated("exchanged")
    assert page(found, WARD) == page(found, WARD)


def test_times_are_the_wards_and_the_data_are_utc() -> None:
    found = simulated("demo")
    here, there = (read_page(page(found, zone)) for zone in (UTC, WARD))
    assert trace(here)["minutes"] == trace(there)["minutes"]
    moment = datetime.fromisoformat(str(stamp(found.as_of_ms)))
    for page_, zone in ((here, UTC), (there, WARD)):
        assert f"As of {moment.astimezone(zone):%a %d %b %H:%M}" in page_.one("header").text
    assert "times in UTC+01:00" in there.text and "times in UTC+" not in here.text


def test_every_button_and_table_has_a_name_and_a_head() -> None:
    page_ = shown(simulated("step_down", "strict-local"))
    assert all(button.text for button in page_.all("button"))
    for table in page_.all("table"):
        assert all(cell.attrs.get("scope") == "col" for cell in table.one("thead").all("th"))
        assert all(row.all("th", scope="row") for row in table.one("tbody").all("tr"))
    levels = [int(node.tag[1]) for node in page_ if re.fullmatch("h[1-6]", node.tag)]
    assert levels[0] == 1 and all(next_ - last <= 1 for last, next_ in pairwise(levels))
    assert all(text.strip() for text in spoken(page_))
