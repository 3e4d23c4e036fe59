"""The commands that write the pack and the replay's page: what stands where, what is never said, what is refused."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from behaviour.audit.by_hand import AIR_ALONE, LEAK, a_drain, flow
from behaviour.audit.test_measures import rows
from behaviour.report.read_page import Node, read_page
from end_to_end.the_command import Ran, called
from slackwater.audit.cohort import close_cohort, write_case
from slackwater.audit.shelf import Folder
from slackwater.cli.view.replay import text
from slackwater.report.replay_page import replay_page

TEXT = (
    AIR_ALONE
    + """[[schedule]]
item = "tube_open"
every = "4 h"
"""
)
WARDS = ("<b>A</b>", "=1+1")  # what somebody typed never becomes part of the page


def cohort(folder: Path, drains: int = 12, **head: object) -> Path:
    """Drains that are in for 4, 5, 6, 9 h in turn; the rule holds from 3 h on."""
    at = Folder(folder / "past")
    for k in range(drains):
        h = (4, 5, 6, 9)[k % 4]
        case = a_drain(
            flow((LEAK, 120), (0.0, 60 * h - 120)), out=60 * h, name=f"d{k:02d}", order=k + 1, ward=WARDS[k % 2],
            holds=[("awaiting_imaging", 60 * h - 30, None)] if k % 2 else (), ordered=[(0, -20.0)],
            pressure=[-20.0] * 60 * h,
        )  # fmt: skip
        write_case(at, case, more={"chart": rows((100, "tube_open", 0), (200, "tube_open", 15))})
    close_cohort(at, {"made_by": "tests", "de_identified": True, "zone": "the ward's clock, as at connection", **head})
    (folder / "rule.toml").write_text(TEXT, "utf-8")
    return folder


def report(folder: Path, *more: str) -> Ran:
    return called("audit", "report", "past", "--protocol", "rule.toml", *more, folder=folder)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = cohort(tmp_path_factory.mktemp("report"))
    ran = report(folder, "--out", "pack", "--suction-within", "2", "--change", "night round=7")
    assert ran.code == 0, ran.err
    return folder


@pytest.fixture(scope="module")
def shown(written: Path) -> Node:
    return read_page((written / "pack" / "page.html").read_text("utf-8"))


def test_the_pack_is_whole(written: Path) -> None:
    names = {path.name for path in (written / "pack").iterdir()}
    assert names == {
        "page.html", "definitions.html", "definitions.txt", "figures.csv", "figures.csv.json", "drains.csv",
        "drains.csv.json", "forecasts.csv", "forecasts.csv.json",
    }  # fmt: skip


def test_what_is_missing_stands_before_every_figure(shown: Node) -> None:
    """Safety page 4.2, the cohort report's row: C15, the small-cell rule, whom it is not for, what is missing first."""
    places = {id(node): at for at, node in enumerate(shown)}
    tables = shown.all("table")
    assert tables[0].attrs.get("id") == "missing"
    assert all(places[id(tables[0])] < places[id(other)] for other in tables[1:])
    cautions = {node.attrs["data-caution"]: node.text for node in shown.all("p", data_caution=None)}
    assert set(cautions) == {"cau-C1", "cau-C3", "cau-C5", "cau-C6", "cau-C15", "cau-small", "cau-individuals"}
    assert cautions["cau-individuals"] == "Not for comparing individuals: neither patients nor staff."
    assert "below 5" in cautions["cau-small"] and "by-hand 1" in cautions["cau-C6"]


def test_the_page_needs_no_script_and_asks_for_nothing(written: Path, shown: Node) -> None:
    text = (written / "pack" / "page.html").read_text("utf-8")
    assert "<script" not in text and "http:" not in text and "https:" not in text and "src=" not in text
    assert "<b>A</b>" not in text and "&lt;b&gt;A&lt;/b&gt;" in text
    assert all(node.attrs.get("aria-label") for node in shown.all("svg"))


def test_page_json_and_tables_say_the_same(written: Path, shown: Node) -> None:
    """12 drains: 1, 2, 3, 6 h three times, less half an hour held in every second: 36 - 3 = 33 h, mean 2.75."""
    ran = report(written, "--json", "--suction-within", "2", "--change", "night round=7")
    said = json.loads(ran.out)
    figures = {one["key"]: one for part in said["figures"] for one in part["figures"]}
    assert figures["avoidable_total"]["estimate"]["value"] == pytest.approx(33.0)
    assert figures["avoidable_mean"]["estimate"]["value"] == pytest.approx(2.75)
    assert figures["suction"]["estimate"]["value"] == pytest.approx(100.0)
    # 4 h: nothing fell due within it but at 4 h; each drain has its entry in time
    assert figures["charted"]["estimate"]["value"] == pytest.approx(100 * 12 / 15)
    assert "Avoidable drain hours: 33.0 h surely" in shown.text
    rows_ = {one["key"]: one for one in csv.DictReader(io.StringIO((written / "pack" / "figures.csv").read_text()))}
    assert float(rows_["avoidable_total"]["value"]) == pytest.approx(33.0)
    drains = list(csv.DictReader(io.StringIO((written / "pack" / "drains.csv").read_text())))
    assert sum(float(one["avoidable_h"]) for one in drains) == pytest.approx(33.0)
    assert [one["back_within_7d"] for one in drains] == [""] * 12  # not known is empty
    assert {one["ward"] for one in drains} == {"<b>A</b>", "'=1+1"}  # no spreadsheet runs it


def test_each_table_has_its_units_and_cautions_beside_it(written: Path) -> None:
    for name in ("figures", "drains"):
        beside = json.loads((written / "pack" / f"{name}.csv.json").read_text())
        words = " ".join(beside["cautions"])
        for caution in (
            "It does not decide",
            "not a reading of zero",
            "as collected by",
            "Judged by",
            "Not for comparing",
        ):
            assert caution in words
        assert "never zero" in beside["empty"] and beside["columns"]
        head = (written / "pack" / f"{name}.csv").read_text().splitlines()[0].split(",")
        known = [one.replace("*", "") for one in beside["columns"]]
        assert all(any(one == k or one.startswith(k[:9]) for k in known) for one in head)


def test_the_verdict_on_a_change_is_on_the_page(shown: Node) -> None:
    assert "Before and after: night round" in shown.text and "Before and after cannot say why" in shown.text


def test_definitions_stand_alone_too(written: Path) -> None:
    text = (written / "pack" / "definitions.txt").read_text("utf-8")
    for words in ("120 h", "50 mL/min", "within 2 cmH2O", "7 on a side, 5 in a row", "07:00 and 22:00"):
        assert words in text
    assert "{" not in text


def test_what_is_too_small_is_kept_back_and_shown_on_request(tmp_path: Path) -> None:
    folder = cohort(tmp_path, drains=4)
    few = json.loads(report(folder, "--json").out)
    figures = {one["key"]: one for part in few["figures"] for one in part["figures"]}
    assert all(one["estimate"]["value"] is None for key, one in figures.items() if key.startswith("avoidable"))
    all_ = json.loads(report(folder, "--json", "--fewest", "0").out)
    figures = {one["key"]: one for part in all_["figures"] for one in part["figures"]}
    assert figures["avoidable_total"]["estimate"]["value"] == pytest.approx(11.0)
    assert not (folder / "past-report").exists()  # --json alone writes nothing


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--leak-days", "5,x"), "are no days"),
        (("--change", "night round=2041-06-01"), "names no change"),
        (("--change", "night round=99"), "none after it"),
        (("--change", "night round=1"), "none after it"),
        (("--risks", "rule.toml"), "not a drain and a risk"),
    ],
)
def test_what_cannot_be_understood_is_refused(written: Path, more: tuple[str, str], words: str) -> None:
    ran = report(written, *more)
    assert ran.code == 2 and words in ran.err


def test_a_rule_must_be_named_where_the_cohort_names_none(written: Path) -> None:
    ran = called("audit", "report", "past", folder=written)
    assert ran.code == 2 and "which rule is meant is not said" in ran.err


# --- the replay's page -----------------------------------------------------------------------------


def test_a_grid_is_one_picture_with_its_table_and_what_it_cannot_show(written: Path) -> None:
    grid = ("--limits", "20,50", "--hours", "1,2,8", "--page", "grid.html")
    ran = called("replay", "past", "--protocol", "rule.toml", *grid, folder=written)
    assert ran.code == 0, ran.err
    page = read_page((written / "grid.html").read_text("utf-8"))
    assert len(page.all("svg")) == 1
    assert len(page.one("table").all("tr")) == 1 + 6
    assert "below 50 mL/min for 8 h (published)" in page.text and page.text.count("(published)") == 1
    assert page.text.index("A replay cannot show") < page.text.index("below 20 mL/min for 1 h")
    assert len(page.all("g", cls="filled")) <= 1
    assert "In all else each is as" in page.text and "(no interval)" in page.text


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        (("--limits", "0,50", "--hours", "1"), "is no rule"),
        (("--limits", "50", "--hours", "0"), "is no rule"),
        (("--limits", "50", "--hours", "1.005"), "finer than a rule can be"),
        (("--limits", "50", "--hours", "1", "--means", "0.4"), "no whole minutes"),
        (("--limits", "50", "--hours", "1", "--fluids", "200"), "removal clauses on an amount"),
        (("--limits", ",".join(map(str, range(1, 502))), "--hours", "1,2"), "1002 rules are more than"),
    ],
)
def test_a_grid_that_no_rule_can_be_is_refused_at_once(written: Path, numbers: tuple[str, ...], words: str) -> None:
    ran = called("replay", "past", "--protocol", "rule.toml", *numbers, folder=written)
    assert ran.code == 2 and words in ran.err


def test_the_key_does_not_lie_in_the_cohort(tmp_path: Path) -> None:
    ran = called("audit", "collect", "new", "--from", ".", "--key", "new/key", folder=tmp_path)
    assert ran.code == 2 and "must not go where the cohort goes" in ran.err and not list(tmp_path.iterdir())


def test_drains_that_could_not_be_judged_are_counted_beside_the_others(written: Path) -> None:
    said = json.loads(called("replay", "past", "--protocol", "rule.toml", "--json", folder=written).out)
    assert "left out" not in text(said) and "left out" not in read_page(replay_page(said)).text
    said["sum"]["failed"] = 2
    assert "; left out 2" in text(said) and "left out" in read_page(replay_page(said)).text


def test_two_rules_part_at_a_moment_and_the_way_back_needs_the_key(written: Path) -> None:
    (written / "longer.toml").write_text(TEXT.replace('lasting = "1 h"', 'lasting = "3 h"'), "utf-8")
    ran = called(
        "replay", "past", "--protocol", "rule.toml", "--against", "longer.toml", "--page", "two.html", folder=written
    )
    assert ran.code == 0, ran.err
    text = read_page((written / "two.html").read_text("utf-8")).text
    assert "3.0 h after connection" in text and "needs the record and the key" in text
    refused = called("replay", "past", "--protocol", "rule.toml", "--page", "two.txt", folder=written)
    assert refused.code == 2 and "does not end in .html" in refused.err
