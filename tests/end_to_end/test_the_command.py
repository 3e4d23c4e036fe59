"""The assess command from files to answer: exits, input, time, zone, minute table, colour, quiet."""

from __future__ import annotations

import itertools
import json
import re
import sys
from datetime import UTC, datetime, timedelta
from importlib import import_module
from pathlib import Path
from typing import Any

import polars
import pytest

from end_to_end import a_ward_folder as ward
from end_to_end.a_stay import ALL, folder_of
from end_to_end.the_command import called, files_in, installed

MINUTE_COLUMNS = (
    "minute flow_ml_per_min flow_max_ml_per_min pressure_cmh2o swing_cmh2o covered state reason open_shown p_leaking "
    "leak_ml_per_min leak_low_ml_per_min leak_high_ml_per_min conductance_ml_per_min_per_cmh2o"
)  # as the contract of the minute table names them


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """No leak for a day and a half, well charted."""
    return folder_of("none", tmp_path_factory.mktemp("none") / "none")


@pytest.fixture(scope="module")
def sparse(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Healed, but hardly anything was charted."""
    return folder_of("sparse_chart", tmp_path_factory.mktemp("sparse") / "sparse")


def found(folder: Path, *arguments: str, stdin: bytes = b"") -> dict[str, Any]:
    """The JSON answer of an assess call that ran."""
    ran = called("assess", *arguments, "--json", folder=folder, stdin=stdin)
    assert ran.code in (0, 3), ran.err
    answer: dict[str, Any] = json.loads(ran.out)
    return answer


def without_file_hashes(answer: dict[str, Any]) -> dict[str, Any]:
    """The answer without what names the files themselves."""
    kept = json.loads(json.dumps(answer))
    kept["ledger"].pop("logs")
    kept["ledger"].pop("chart")
    kept.pop("notes")
    kept.pop("history")  # it tells how many later rows were left out
    return dict(kept)


# --- exits ----------------------------------------------------------------------------------------


def test_exit_0_it_ran_and_nothing_is_in_doubt(quiet: Path) -> None:
    ran = installed("assess", "log.csv", *ALL, "--protocol", "air-50-8h", folder=quiet)
    assert (ran.code, ran.err) == (0, "")
    assert "met on recorded data since" in ran.out


def test_exit_3_something_cannot_be_told(sparse: Path) -> None:
    ran = installed("assess", "log.csv", *ALL, "--protocol", "air-50-8h", folder=sparse)
    assert (ran.code, ran.err) == (3, "")
    assert "cannot tell" in ran.out


def test_exit_3_met_with_gaps(quiet: Path) -> None:
    lines = (quiet / "log.csv").read_text().splitlines(keepends=True)
    holed = quiet / "holed.csv"
    holed.write_text("".join(lines[:-1000] + lines[-900:]))
    rule = (quiet / "gaps.toml").absolute()
    rule.write_text(ward.RULE.replace('"0 min"', '"20 min"').partition('[[removal]]\nid = "fluid"')[0])
    ran = called("assess", "holed.csv", *ALL, "--protocol", str(rule), folder=quiet)
    assert (ran.code, ran.err) == (3, "")
    assert "met with gaps" in ran.out


def test_exit_3_only_for_what_was_charted_after_the_last_reading_says_so(quiet: Path) -> None:
    chart = (quiet / "chart.csv").read_text()
    late = quiet / "late.csv"
    late.write_text(chart.rstrip("\n") + "\n2041-03-20T06:00:00+01:00,swing,present,,,1,,nurse\n")
    words = ("assess", "log.csv", *ALL[:2], "--chart", "late.csv", *ALL[4:], "--protocol", "air-50-8h")
    ran = called(*words, folder=quiet)
    assert (ran.code, ran.err) == (3, "")
    assert "met on recorded data since" in ran.out
    assert "  in doubt     what was charted after the last reading\n" in ran.out


def test_the_screen_names_everything_that_is_in_doubt(quiet: Path, sparse: Path) -> None:
    """Contract: 3 where something cannot be told; the same words stand in the answer as JSON."""
    for folder in (quiet, sparse):
        ran = called("assess", "log.csv", *ALL, "--protocol", "strict-local", folder=folder)
        answer = found(folder, "log.csv", *ALL, "--protocol", "strict-local")
        parts = [*answer["criteria"], *answer["guards"], *answer["step_down"]["criteria"], *answer["escalation"]]
        doubted = [part["id"] for part in parts if part["status"] in ("cannot_tell", "met_with_gaps")]
        assert (ran.code == 3) == ("  in doubt     " in ran.out)
        told = " ".join(ran.out.partition("  in doubt     ")[2].split())
        assert all(id_.replace("_", " ") in told for id_ in doubted)


def test_exit_2_input_refused(quiet: Path) -> None:
    ran = installed("assess", "nothing.csv", *ALL, folder=quiet)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.count("\n") == 1


def test_exit_4_an_optional_part_is_missing(quiet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "jinja2", None)  # as where it was never installed
    before = files_in(quiet)
    ran = called("assess", "log.csv", *ALL, "--page", "page.html", folder=quiet)
    assert (ran.code, ran.out) == (4, "")
    assert "slackwater[page]" in ran.err
    assert ran.err.count("\n") == 1
    assert files_in(quiet) == before


def test_exit_1_a_fault_of_ours_is_one_line_and_no_traceback(quiet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError("inside")

    monkeypatch.delenv("SLACKWATER_TRACEBACK", raising=False)
    monkeypatch.setattr(import_module("slackwater.assessment.assess"), "assess", fails)
    ran = called("assess", "log.csv", *ALL, folder=quiet)
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.count("\n") == 1
    assert "a fault of ours (ZeroDivisionError); nothing was concluded" in ran.err


def test_help_and_version_exit_0(tmp_path: Path) -> None:
    for words in ([], ["assess"], ["layout"], ["layout", "propose"], ["protocol", "show"], ["simulate"], ["demo"]):
        ran = called(*words, "--help", folder=tmp_path)
        assert (ran.code, ran.err) == (0, "")
        assert "Usage:" in ran.out
    assert "Not a certified medical device" in called("--version", folder=tmp_path).out


@pytest.mark.parametrize("words", ["", "layout", "protocol", "audit", "record", "equipment", "export"])
def test_a_bare_group_is_its_help_and_exit_0(words: str, tmp_path: Path) -> None:
    ran = called(*words.split(), folder=tmp_path)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out == called(*words.split(), "--help", folder=tmp_path).out


@pytest.mark.parametrize(
    "words", ["assess", "demo", "simulate", "layout", "layout propose", "layout check", "layout list", "protocol",
              "protocol list", "protocol show", "protocol check", "protocol test", "protocol measures", "audit",
              "teach list", "teach score", "teach check"]
)  # fmt: skip
def test_every_command_shows_an_example_in_its_help(words: str, tmp_path: Path) -> None:
    text = called(*words.split(), "--help", folder=tmp_path).out
    assert re.search(rf"Example:\s+slackwater {words}", text)


# --- input ----------------------------------------------------------------------------------------


def test_a_dash_reads_the_log_from_standard_input(quiet: Path) -> None:
    by_name = found(quiet, "log.csv", *ALL, "--protocol", "air-50-8h")
    piped = found(quiet, "-", *ALL, "--protocol", "air-50-8h", stdin=(quiet / "log.csv").read_bytes())
    assert json.dumps(piped).replace("standard input", "log.csv") == json.dumps(by_name)


@pytest.mark.parametrize(
    "words", [["-", "--chart", "-"], ["-", "-"], ["-", "--layout", "-"], ["--chart", "-", "--episode", "-"]]
)
def test_standard_input_can_be_read_once(words: list[str], quiet: Path) -> None:
    ran = called("assess", *words, folder=quiet, stdin=(quiet / "log.csv").read_bytes())
    assert (ran.code, ran.out) == (2, "")
    assert "standard input can be read once" in ran.err


def test_several_logs_of_one_drain_join(quiet: Path) -> None:
    head, *rows = (quiet / "log.csv").read_text().splitlines(keepends=True)
    (quiet / "part-1.csv").write_text(head + "".join(rows[:20_000]))
    (quiet / "part-2.csv").write_text(head + "".join(rows[15_000:]))
    whole = found(quiet, "log.csv", *ALL, "--protocol", "air-50-8h")
    joined = found(quiet, "part-2.csv", "part-1.csv", *ALL, "--protocol", "air-50-8h")
    for key in ("as_of", "overall", "met_since", "first_met", "leak", "waiting_for"):
        assert joined[key] == whole[key], key
    assert [c["status"] for c in joined["criteria"]] == [c["status"] for c in whole["criteria"]]
    assert joined["ledger"]["duplicate"] == 5_000
    assert joined["ledger"]["rows_read"] == len(rows) + 5_000


def test_a_chart_alone_is_judged_too(quiet: Path) -> None:
    answer = found(quiet, "--chart", "chart.csv", "--episode", "episode.toml", "--protocol", "air-50-8h")
    assert answer["leak"]["state"] == "cannot_tell"
    assert answer["data_until"] is None
    assert answer["overall"] in ("cannot_tell", "not_met")


# --- time -----------------------------------------------------------------------------------------


def test_without_at_it_is_as_of_the_last_reading(quiet: Path) -> None:
    ran = called("assess", "log.csv", *ALL, folder=quiet)
    assert ", the last reading." in ran.out
    answer = found(quiet, "log.csv", *ALL)
    assert answer["as_of_last_reading"] is True
    assert answer["as_of"] == answer["data_until"]


def test_a_later_moment_makes_old_data_say_less(quiet: Path) -> None:
    end = datetime.fromisoformat(found(quiet, "log.csv", *ALL)["data_until"])
    later = (end + timedelta(hours=3)).isoformat()
    answer = found(quiet, "log.csv", *ALL, "--protocol", "air-50-8h", "--at", later)
    assert answer["as_of_last_reading"] is False
    assert answer["overall"] == "cannot_tell"
    assert "180 min old" in called(
        "assess", "log.csv", *ALL, "--protocol", "air-50-8h", "--at", later, folder=quiet
    ).out.replace("\n", " ")


@pytest.mark.parametrize("hours", [0.5, 9.0, 21.25])
def test_a_past_moment_answers_as_it_would_have_then(quiet: Path, hours: float, tmp_path: Path) -> None:
    """No look-ahead: the whole files asked about a past moment, and the files as they stood then, answer alike."""
    connected = datetime.fromisoformat("2041-03-04T14:19:00+00:00")
    moment = connected + timedelta(hours=hours)
    head, *rows = (quiet / "log.csv").read_text().splitlines(keepends=True)
    local = (moment + timedelta(hours=1)).strftime("%Y-%m-%d %H:%M:%S")
    (tmp_path / "log.csv").write_text(head + "".join(row for row in rows if row[:19] <= local))
    chart_head, *entries = (quiet / "chart.csv").read_text().splitlines(keepends=True)

    def known(entry: str) -> bool:
        cells = entry.split(",")
        recorded = [c for c in (cells[0], cells[-2]) if c]
        return max(datetime.fromisoformat(c) for c in recorded) <= moment

    (tmp_path / "chart.csv").write_text(chart_head + "".join(e for e in entries if known(e)))
    for name in ("layout.toml", "episode.toml"):
        (tmp_path / name).write_bytes((quiet / name).read_bytes())
    asked = ("log.csv", *ALL, "--protocol", "strict-local", "--at", moment.isoformat())
    assert without_file_hashes(found(quiet, *asked)) == without_file_hashes(found(tmp_path, *asked))


def test_at_now_reads_the_clock_once_at_the_door(tmp_path: Path) -> None:
    start = datetime.now(UTC).replace(second=0, microsecond=0) - timedelta(minutes=ward.ROWS + 3)
    before = datetime.now(UTC)
    lines = ward.log().splitlines(keepends=True)
    moved = [
        (start + timedelta(minutes=n)).strftime("%d.%m.%Y %H:%M:%S") + line[19:] for n, line in enumerate(lines[3:], 1)
    ]
    folder = ward.write(tmp_path, log_csv="".join([*lines[:3], *moved]).encode())
    answer = found(folder, "log.csv", "--layout", "layout.toml", "--at", "now")
    as_of = datetime.fromisoformat(answer["as_of"])
    assert before - timedelta(seconds=1) <= as_of <= datetime.now(UTC)
    assert answer["data_until"] == (start + timedelta(minutes=ward.ROWS)).strftime("%Y-%m-%dT%H:%M:%SZ")


def test_rows_stamped_after_the_moment_asked_about_are_left_out(tmp_path: Path) -> None:
    """Every row of the invented log lies in the future of now: nothing can be told."""
    answer = found(ward.write(tmp_path), "log.csv", "--layout", "layout.toml", "--at", "now")
    assert answer["leak"]["state"] == "cannot_tell"
    assert answer["leak"]["reason"] == "missing"


def test_the_zone_moves_what_is_printed_and_no_answer(quiet: Path) -> None:
    plain = found(quiet, "log.csv", *ALL, "--protocol", "air-50-8h")
    ward_zone = found(quiet, "log.csv", *ALL, "--protocol", "air-50-8h", "--zone", "Australia/Darwin")
    assert plain == ward_zone
    text = called("assess", "log.csv", *ALL, "--zone", "+09:30", folder=quiet).out
    assert "UTC+09:30" in text
    assert text != called("assess", "log.csv", *ALL, folder=quiet).out


def test_at_may_be_local_with_the_zone(quiet: Path) -> None:
    local = found(quiet, "log.csv", *ALL, "--zone", "+01:00", "--at", "2041-03-05T06:00:00")
    utc = found(quiet, "log.csv", *ALL, "--at", "2041-03-05T05:00:00Z")
    assert local == utc


# --- minute table ---------------------------------------------------------------------------------


def test_the_minute_table_has_the_columns_of_its_contract_and_every_minute(sparse: Path) -> None:
    assert called("assess", "log.csv", *ALL, "--minutes", "minutes.csv", folder=sparse).code in (0, 3)
    lines = (sparse / "minutes.csv").read_text().splitlines()
    assert lines[0].split(",") == MINUTE_COLUMNS.split()
    stamps = [datetime.fromisoformat(line.split(",", 1)[0]) for line in lines[1:]]
    assert stamps[0] == datetime(2041, 3, 4, 14, 19, tzinfo=UTC)
    assert all(b - a == timedelta(minutes=1) for a, b in itertools.pairwise(stamps))
    assert len(stamps) == 48 * 60


def test_the_parquet_table_equals_the_csv_table(sparse: Path) -> None:
    for name in ("minutes.csv", "minutes.parquet"):
        assert called("assess", "log.csv", *ALL, "--minutes", name, folder=sparse).code in (0, 3)
    table = polars.read_parquet(sparse / "minutes.parquet")
    texts = polars.read_csv(sparse / "minutes.csv", infer_schema_length=0)
    assert table.columns == texts.columns == MINUTE_COLUMNS.split()
    assert table.height == texts.height
    assert [t.strftime("%Y-%m-%dT%H:%M:%SZ") for t in table["minute"]] == texts["minute"].to_list()
    for name in table.columns[1:]:
        for value, text in zip(table[name].to_list(), texts[name].to_list(), strict=True):
            if isinstance(value, str):
                assert value == (text or ""), name
            else:
                assert (value is None) == (text in (None, "")), name
                assert value is None or float(text) == pytest.approx(value, abs=6e-4), name


def test_the_minute_table_says_missing_for_what_was_not_recorded(tmp_path: Path) -> None:
    lines = ward.log().splitlines(keepends=True)
    folder = ward.write(tmp_path, log_csv="".join(lines[:40] + lines[60:]).encode())
    called("assess", *ward.ALL, "--minutes", "m.csv", folder=folder)
    rows = [line.split(",") for line in (folder / "m.csv").read_text().splitlines()[1:]]
    assert len(rows) == ward.ROWS
    missing = [row for row in rows if row[7] == "missing"]
    assert len(missing) == 20
    assert all(row[1] == "" and row[6] == "cannot_tell" and float(row[5]) == 0 for row in missing)


# --- what is printed ------------------------------------------------------------------------------


def test_piped_output_has_no_colour_and_stderr_is_quiet(quiet: Path) -> None:
    ran = installed("assess", "log.csv", *ALL, "--protocol", "air-50-8h", folder=quiet, env={"TERM": "xterm-256color"})
    assert "\x1b" not in ran.out
    assert ran.err == ""


def test_no_color_wins_over_a_forced_colour(quiet: Path) -> None:
    forced = installed("assess", "log.csv", *ALL, folder=quiet, env={"FORCE_COLOR": "1", "TERM": "xterm"})
    plain = installed(
        "assess", "log.csv", *ALL, folder=quiet, env={"FORCE_COLOR": "1", "TERM": "xterm", "NO_COLOR": "1"}
    )
    assert "\x1b[" not in plain.out
    assert re.sub(r"\x1b\[[0-9;]*m", "", forced.out) == plain.out


def test_without_a_rule_only_the_leak_is_answered(quiet: Path) -> None:
    answer = found(quiet, "log.csv", *ALL)
    assert answer["overall"] is None
    assert answer["protocol"] is None
    assert answer["criteria"] == answer["guards"] == answer["waiting_for"] == []
    assert "Rule: none was asked for." in called("assess", "log.csv", *ALL, folder=quiet).out


def test_waived_guards_are_said_on_every_answer(quiet: Path) -> None:
    rule = re.sub(r"\[guards\]\n.*\n.*\n", "", ward.RULE).replace(
        'source = "invented for the tests"', 'source = "x"\nguards = "none"'
    )
    (quiet / "bare.toml").write_text(rule)
    ran = called("assess", "log.csv", *ALL, "--protocol", "bare.toml", folder=quiet)
    flat = " ".join(ran.out.split())
    assert "Its guards are waived: nothing here asks whether the tube was open." in flat
    answer = found(quiet, "log.csv", *ALL, "--protocol", "bare.toml")
    assert answer["protocol"]["guards_waived"] is True
    assert any("guards are waived" in caution["text"] for caution in answer["cautions"])
    assert "guards: NONE" in called("protocol", "show", "bare.toml", folder=quiet).out


@pytest.mark.parametrize("status", ["example", "draft", "retired"])
def test_a_rule_that_nobody_approved_is_said_to_be_so(quiet: Path, status: str) -> None:
    (quiet / "rule.toml").write_text(ward.RULE.replace('"example"', f'"{status}"'))
    flat = " ".join(called("assess", "log.csv", *ALL, "--protocol", "rule.toml", folder=quiet).out.split())
    assert f"invented-50 ({status}, NOT APPROVED)" in flat
    assert f"status {status}: not approved for use" in flat


def test_an_approved_rule_names_who_approved_it(quiet: Path) -> None:
    approved = ward.RULE.replace('"example"', '"approved"').replace(
        'approved_by = ""', 'approved_by = "lead physician, 2041-01-02"'
    )
    (quiet / "rule.toml").write_text(approved)
    flat = " ".join(called("assess", "log.csv", *ALL, "--protocol", "rule.toml", folder=quiet).out.split())
    assert "approved by lead physician, 2041-01-02" in flat
    assert "not approved" not in flat
