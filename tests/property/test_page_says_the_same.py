"""M41: terminal, JSON and page say the same of one drain; and no text of a record can make the page say or do more.

The page is read back from its HTML; what it must say is worked out here from the JSON document.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Any

import pytest
from hypothesis import strategies as st

import slackwater
from behaviour.report.a_picture import simulated
from behaviour.report.read_page import Node, parts, read_page, spoken, trace
from frame.test_words import BANNED
from property.a_small_stay import PROTOCOL, Stay, healed, judged, stays
from property.quick_and_many import Laws
from slackwater.assessment.assessment import Assessment
from slackwater.cli.view.answer import answer_text
from slackwater.protocol.status import Status
from slackwater.quantities.spans import format_span
from slackwater.report.clauses import MOST_SPANS
from slackwater.report.page import page
from slackwater.report.words import SHAPES

LAWS = Laws()
WARD = timezone(timedelta(hours=1))
SECTIONS = {"clauses": "criteria", "guards": "guards", "items": "escalation"}
SIMULATED = [
    ("demo", "air-50-8h"), ("blocked", "air-20-8h"), ("usual_chart", "strict-local"), ("effort_only", "air-50-8h"),
    ("clock_back", "air-50-8h"), ("step_down", "strict-local"), ("mediastinal", "cardiac-150-4h"),
    ("child", "child-6mlkg-8h"), ("pneumonectomy", "air-50-8h"), ("bleeding", "strict-local"), ("demo", None),
]  # fmt: skip


def ms(stamp: str | None) -> int | None:
    return None if stamp is None else round(datetime.fromisoformat(stamp).timestamp() * 1000)


def wall(stamp: str, zone: tzinfo) -> str:
    return datetime.fromisoformat(stamp).astimezone(zone).strftime("%a %d %b %H:%M")


def flat(text: str) -> str:
    return " ".join(text.split())


# --- the parts of the page against the document ---------------------------------------------------


def same(found: Assessment, zone: tzinfo) -> None:
    """Everything that the three say of one assessment."""
    document = slackwater.document(found)
    shown = read_page(page(found, zone))
    terminal = flat(answer_text(found, zone, colour=False))
    _head(shown, document, zone)
    _statuses(shown, document, terminal)
    for section, key in SECTIONS.items():
        _parts(parts(shown, section), document[key], document, zone)
    _parts(parts(shown, "step-down"), (document["step_down"] or {"criteria": []})["criteria"], document, zone)
    _waiting(shown, document, terminal)
    _leak(shown, document, terminal)
    _forecast(shown, document)
    _steps(shown, document, zone)
    _record(shown, document, terminal)
    _cautions(shown, document, terminal)
    _banned(shown)


def _head(shown: Node, document: dict[str, Any], zone: tzinfo) -> None:
    head = shown.one("header").text
    for name in ("patient", "number", "side", "space", "site"):
        assert document["drain"][name] is None or str(document["drain"][name]) in head
    assert f"As of {wall(document['as_of'], zone)}" in head
    until = document["data_until"]
    assert f"data until {'not known' if until is None else wall(until, zone)}" in head
    picture = trace(shown)
    assert (picture["as_of"], picture["data_until"]) == (ms(document["as_of"]), ms(until))


def _statuses(shown: Node, document: dict[str, Any], terminal: str) -> None:
    sentence = shown.one("p", cls="rule").text
    if document["overall"] is not None:
        word = Status[document["overall"].upper()].said
        assert word in sentence and document["protocol"]["name"] in sentence
        others = [s.said for s in Status if s.said not in word and word not in s.said]
        assert not [other for other in others if f": {other}." in sentence or f") {other} on" in sentence]
    assert sentence.partition("Rule: ")[2] in terminal
    if document["protocol"] is not None and document["protocol"]["status"] != "approved":
        assert document["overall"] is None or "NOT APPROVED" in sentence
    everywhere = [*document["criteria"], *document["guards"], *(document["step_down"] or {"criteria": []})["criteria"]]
    for part in everywhere:
        assert _looks(part, document)[1] in terminal


def _looks(part: dict[str, Any], document: dict[str, Any]) -> tuple[str, str]:
    """Status and its words; an effort does not look satisfied while the tube is not shown open."""
    tube = [one["status"] for one in document["guards"] if one["id"] == "tube_open"]
    if part["id"] == "effort_seen" and part["status"] == "met" and tube and tube[0] in ("not_met", "cannot_tell"):
        return "cannot_tell", "▨ not counted"
    status = Status[part["status"].upper()]
    return part["status"], f"{SHAPES[status]} {status.said}"


def _bounds_are_told(text: str, value: dict[str, Any], limit: str) -> None:
    """Outward to whole numbers at the most, an exact value to the tenth; never on the limit's other side or on it."""
    told = [float(one) for one in re.findall(r"\d+(?:\.\d+)?", text.partition(" since ")[0])]
    found = re.match(r"\d+(?:\.\d+)?", limit)
    exact = value["low"] == value["high"]
    for end, way in (("low", 1), ("high", -1)):
        if value[end] is None or (end == "low" and value["low"] <= 0):
            continue
        near = [
            one for one in told if (abs(one - value[end]) <= 0.051 if exact else -1e-3 < way * (value[end] - one) < 1)
        ]
        assert near, (text, value)
        if found is not None:
            edge = float(found[0])
            assert any((one > edge) - (one < edge) == (value[end] > edge) - (value[end] < edge) for one in near), (
                text,
                edge,
            )


def _parts(shown: dict[str, Node], told: list[dict[str, Any]], document: dict[str, Any], zone: tzinfo) -> None:
    assert set(shown) == {part["id"] for part in told}
    for part in told:
        node = shown[part["id"]]
        assert (node.attrs["data-status"], node.one("p", cls="status").text) == _looks(part, document)
        text = node.text
        value = part["value"] or {}
        if value.get("unit") == "s":
            assert value["high"] is None or format_span(value["low"] or 0) in text
        elif value.get("low") is not None:
            _bounds_are_told(node.one("p", cls="found").text, value, part.get("limit") or "")
            assert value["high"] is not None or "no upper bound" in text
        elif value.get("word"):
            assert value["word"].replace("_", " ") in text
        if part.get("limit"):
            assert part["limit"] in text
        if part["status"] in ("met", "met_with_gaps") and part["since"] and "measure" in part:
            assert f"since {wall(part['since'], zone)}" in text
        _run(node, part)
        assert [need.text.removeprefix("→ ") for need in node.all("p", cls="need")] == [
            need["what"] + (f" (at the earliest {wall(need['by_when'], zone)})" if need["by_when"] else "")
            for need in part["needs"]
        ]
        _evidence(node, part, zone)
        assert part["note"] is None or part["note"] in text
        assert not part.get("say") or part["say"] in text


def _run(node: Node, part: dict[str, Any]) -> None:
    run = part.get("run")
    bars = node.all("svg", cls="bar")
    if run is None or not run["needed_s"]:
        assert not bars
        return
    (bar,) = bars
    assert bar.one("rect").attrs["width"] == f"{min(100, int(100 * run['lasted_s'] / run['needed_s']))}"
    words = node.one("p", cls="run").text
    assert f"run {format_span(run['lasted_s'])} of {format_span(run['needed_s'])}" in words
    assert not run["missing_minutes"] or f"{run['missing_minutes']} min unknown" in words
    full = bar.one("rect").attrs["width"] == "100"
    assert full == (run["lasted_s"] >= run["needed_s"])  # a bar is never full before the hours are


def _evidence(node: Node, part: dict[str, Any], zone: tzinfo) -> None:
    listed = part["evidence"][:MOST_SPANS]
    buttons = node.all("button")
    assert [(int(b.attrs["data-from"]), int(b.attrs["data-to"])) for b in buttons] == [
        (ms(span["from"]), ms(span["to"])) for span in listed
    ]
    for line, span in zip(node.all("p", cls="evidence"), listed, strict=True):
        assert wall(span["from"], zone) in line.text and wall(span["to"], zone)[-5:] in line.text
        for row in span["rows"]:
            assert f"{row['file']} line" in line.text
            assert str(row["from_line"]) in line.text and str(row["to_line"]) in line.text
    left = len(part["evidence"]) - len(listed)
    assert (f"and {left} more stretches" in node.text) == (left > 0)


def _waiting(shown: Node, document: dict[str, Any], terminal: str) -> None:
    lists = shown.all("ul", id="waiting")
    assert [li.text for ul in lists for li in ul.all("li")] == document["waiting_for"]
    assert all(flat(text) in terminal for text in document["waiting_for"])
    raised = [part for part in document["escalation"] if part["status"] in ("met", "cannot_tell")]
    listed = [li.text for ul in shown.all("ul", cls="items") for li in ul.all("li")]
    assert len(listed) == len(raised)
    for text, part in zip(listed, raised, strict=True):
        assert text.startswith(part["id"].replace("_", " "))
        assert ("cannot tell" in text) == (part["status"] == "cannot_tell")
    hidden = [part.attrs["data-part"] for box in shown.all("details") for part in box.all(data_part=None)]
    assert not set(hidden) & {part["id"] for part in raised}  # what is to be acted on is never folded away


def _leak(shown: Node, document: dict[str, Any], terminal: str) -> None:
    sentence = shown.one("h1").text
    leak = document["leak"]
    state = {"leaking": "leaking", "quiet": "below limit", "cannot_tell": "cannot tell"}[leak["state"]]
    # after pneumonectomy no air is judged: that is a `cannot tell` which says why
    assert f"Air leak: {state}" in sentence or (state == "cannot tell" and "Air leak: not judged" in sentence)
    assert sentence.partition("Air leak: ")[2] in terminal
    flow = re.compile(r"([\d.]+) mL/min")
    if leak["state"] == "leaking":
        assert (
            min(map(float, re.findall(r"[\d.]+", sentence.partition("leaking, ")[2].partition(" mL")[0])))
            >= (leak["limit"])
        )
    if leak["state"] == "quiet":
        *most, limit = (float(number) for number in flow.findall(sentence))
        assert max(most) <= limit == leak["limit"]
    assert leak["pattern_says"] is None or leak["pattern_says"] in shown.one("section", id="answer").text


def _forecast(shown: Node, document: dict[str, Any]) -> None:
    section = shown.one("section", id="forecast")
    estimate = document["forecast"]
    rows = {row.one("th").text: [cell.text for cell in row.all("td")] for row in section.all("tr")[1:]}
    later = {
        id_.replace("_", " "): hours for id_, hours in estimate["clauses"].items() if hours and hours["q95"] != 0
    }  # fmt: skip
    assert set(rows) - {"all of these"} == set(later)
    horizon = estimate["horizon_h"]

    def hour(value: float | None) -> str:
        if value is None:
            return f"over {horizon:.0f} h"
        return "now" if value <= 0 else "under 1 h" if value < 1 else f"{value:.0f} h"

    for name, hours in later.items():
        low, high = hour(hours["q10"]), hour(hours["q90"])
        assert rows[name][0] == (low if low == high else f"{low} to {high}")
        assert rows[name][1] == hour(hours["q50"])
    for id_, why in estimate["withheld"].items():
        alone = f"{id_.replace('_', ' ')}: withheld, {why}." in section.text
        assert alone or (why == estimate["withheld_because"] and f"Withheld: {why}." in section.text)
    if document["overall"] in ("met", "met_with_gaps"):
        assert "nothing is left to forecast" in section.text
    elif estimate["whole"] is None:
        assert estimate["withheld_because"].capitalize()[1:] in section.text
    waits = {"tube_open": "tube shown open", "effort_seen": "effort tried"}
    for id_ in estimate["waiting_on_person"]:
        assert waits.get(id_, id_.replace("_", " ")) in section.text.partition("Waits on a person")[2]


def _steps(shown: Node, document: dict[str, Any], zone: tzinfo) -> None:
    tables = shown.all("section", id="steps")
    rows = [row for table in tables for row in table.all("tr")[1:]]
    assert len(rows) == len(document["suction_steps"])
    for row, step in zip(rows, document["suction_steps"], strict=True):
        assert row.one("button").text == f"Show {wall(step['at'], zone)}"
        cells = [cell.text for cell in row.all("td")]
        if step["before"] is None or step["after"] is None:
            assert cells[0].startswith("cannot tell")
            continue
        before, after = step["before"]["flow_ml_per_min"], step["after"]["flow_ml_per_min"]
        assert before is None or after is None or cells[2] == f"{before:.0f} → {after:.0f}"


def _record(shown: Node, document: dict[str, Any], terminal: str) -> None:
    text = shown.one("section", id="record").text
    ledger = document["ledger"]
    counts = f"{ledger['rows_read']} rows read = {ledger['used']} used + {ledger['refused']} refused + "
    counts += f"{ledger['duplicate']} duplicate + {ledger['conflicting']} conflicting"
    assert (counts in text) == bool(ledger["logs"])
    assert not ledger["logs"] or counts.replace("rows read", "read") in terminal
    chart = ledger["chart"]
    assert not chart["rows_read"] or f"Chart: {chart['rows_read']} rows read = {chart['used']} used" in text
    hashes = [*(log["sha256"] for log in ledger["logs"]), chart["sha256"], (document["protocol"] or {}).get("sha256")]
    assert all(one in text for one in hashes if one and (one != chart["sha256"] or chart["rows_read"]))
    whole = shown.text
    assert all(flat(note) in whole for note in document["notes"])
    assert all(flat(warning) in shown.one("section", aria_label="Warnings").text for warning in document["warnings"])
    steps = [row.one("th").text for row in shown.one("section", id="record").all("tr")[1:]]
    assert steps == [step["name"].replace("_", " ") for step in document["history"]]


def _cautions(shown: Node, document: dict[str, Any], terminal: str) -> None:
    """Each caution once and in its words, however many places there are for one."""
    told = {node.attrs["data-caution"]: node.text for node in shown.all(data_caution=None)}
    assert len(told) == len(shown.all(data_caution=None))
    beside = {} if document["forecast"]["horizon_h"] is None else {"cau-C7"}
    assert set(told) == {caution["id"] for caution in document["cautions"]} | set(beside)
    for caution in document["cautions"]:
        assert told[caution["id"]] == flat(caution["text"])
        assert flat(caution["text"]) in terminal


def _banned(shown: Node) -> None:
    denial = shown.one(data_caution="cau-C2").text
    for text in spoken(shown):
        if flat(text) != denial:
            assert not [word for word, pattern in BANNED.items() if pattern.search(text)], text
    for text in _strings(trace(shown)):
        assert not [word for word, pattern in BANNED.items() if pattern.search(text)], text


def _strings(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [text for inner in value.values() for text in _strings(inner)]
    if isinstance(value, list):
        return [text for inner in value for text in _strings(inner)]
    return [value] if isinstance(value, str) else []


# --- over many stays ------------------------------------------------------------------------------


@LAWS.law(stays(), st.sampled_from((None, PROTOCOL)))
def test_terminal_document_and_page_agree(stay: Stay, protocol: slackwater.Protocol | None) -> None:
    same(judged(stay, protocol=protocol), WARD)


@pytest.mark.parametrize(("name", "rule"), SIMULATED, ids=lambda value: str(value))
def test_they_agree_on_simulated_stays(name: str, rule: str | None) -> None:
    same(simulated(name, rule), WARD)


def test_a_page_that_said_something_else_would_be_seen() -> None:
    """The check itself: it fails on a page of another stay."""
    other = read_page(page(judged(healed(swing=0)), UTC))
    document = slackwater.document(judged(healed()))
    with pytest.raises(AssertionError):
        for section, key in SECTIONS.items():
            _parts(parts(other, section), document[key], document, UTC)


@pytest.mark.slow
@pytest.mark.parametrize("name", LAWS.names)
def test_many(name: str) -> None:
    LAWS.many(name)
