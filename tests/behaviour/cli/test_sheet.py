"""`slackwater sheet`: kinds, inputs, exit codes, where it writes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pypdfium2
import pytest

from end_to_end.a_stay import ALL, folder_of
from end_to_end.the_command import called, files_in
from slackwater.cli.sheet import KINDS
from slackwater.report.sheets import make
from ward.a_ward import recorded_ward

AT = ("--printed", "2041-03-07T09:03:00Z")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return folder_of("plateau", tmp_path_factory.mktemp("stay") / "stay", 26.0)


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the small recorded ward in `record`."""
    here = tmp_path_factory.mktemp("ward")
    recorded_ward(here / "record")
    return here


def text_of(path: Path) -> str:
    return " ".join(
        " ".join(page.get_textpage().get_text_bounded().split()) for page in pypdfium2.PdfDocument(path.read_bytes())
    )


def test_the_kinds_named_for_help_are_those_that_can_be_made() -> None:
    assert set(KINDS) == {*make.KINDS, "checklist"}


def test_a_sheet_of_files_says_what_assess_says_and_exits_alike(folder: Path) -> None:
    judged = called("assess", "log.csv", *ALL, "--protocol", "strict-local", "--json", folder=folder)
    end = json.loads(judged.out)["as_of"]
    ran = called("sheet", "summary", "log.csv", *ALL, "--protocol", "strict-local", "--printed", end, folder=folder)
    assert ran.code == judged.code, ran.err
    assert ran.out.startswith("sheet-summary.pdf: Drain summary, Patient SIM-0001")
    found, text = json.loads(judged.out), text_of(folder / "sheet-summary.pdf")
    assert found["protocol"]["sha256"][:12] in text and found["drain"]["patient"] in text
    assert all(need in text for need in found["waiting_for"])


def test_old_files_are_not_printed_as_of_now(folder: Path) -> None:
    """Two days after the last reading; strict-local takes none so old: its [evidence] data_age."""
    ran = called("sheet", "summary", "log.csv", *ALL, "--protocol", "strict-local", *AT, "--out", "o.pdf",
                 folder=folder)  # fmt: skip
    text = text_of(folder / "o.pdf")
    assert ran.code == 3 and "OUT OF DATE by its rule" in text
    assert "Air leak cannot tell: no data since" in text and "Rule cannot tell: judged as of" in text
    assert "no longer told: the data are older than the rule takes" in text


def test_a_drain_of_the_record_is_judged_as_of_its_printing(ward: Path) -> None:
    """As the ward's pages and its handover do; `--at` still names another moment."""
    late = ("--printed", "2041-03-12T09:00:00Z")
    ran = called("sheet", "summary", "--record", "record", "--drain", "W-2/1", *late, "--out", "l.pdf", folder=ward)
    text = text_of(ward / "l.pdf")
    assert ran.code == 3, ran.err
    assert "Air leak cannot tell: no data since Thu 07 Mar 09:00" in text and "OUT OF DATE" in text
    called("sheet", "summary", "--record", "record", "--drain", "W-2/1", *late, "--at", "2041-03-07T09:00:00Z",
           "--out", "b.pdf", folder=ward)  # fmt: skip
    assert "Looking back" in text_of(ward / "b.pdf") and "Air leak leaking" in text_of(ward / "b.pdf")


def test_a_log_that_runs_ahead_of_printing_is_told_to_its_end_and_said_to(ward: Path) -> None:
    """A demonstration's logs do, on purpose."""
    called("sheet", "handover", "--record", "record", "--drain", "W-2/1", "--printed", "2041-03-07T06:00:00Z",
           "--out", "e.pdf", folder=ward)  # fmt: skip
    text = text_of(ward / "e.pdf")
    assert "Data until Thu 07 Mar 2041 09:00" in text and "later than this print: one clock is wrong" in text


def test_html_and_standard_output(folder: Path) -> None:
    before = files_in(folder)
    words = [sys.executable, "-m", "slackwater", "sheet", "checklist", *AT, "--out", "-"]
    piped = subprocess.run(words, cwd=folder, capture_output=True, check=True, timeout=60)
    assert piped.stdout.startswith(b"%PDF-") and files_in(folder) == before
    ran = called("sheet", "handover", "log.csv", *ALL, *AT, "--out", "h.html", folder=folder)
    assert ran.code in (0, 3) and (folder / "h.html").read_text().startswith("<!doctype html>")


def test_a_drain_of_the_record_and_the_whole_ward(ward: Path) -> None:
    one = called("sheet", "handover", "--record", "record", "--drain", "W-2/1", "--at", "2041-03-07T09:00:00Z", *AT,
                 "--out", "one.pdf", folder=ward)  # fmt: skip
    assert one.code in (0, 3), one.err
    assert "Patient W-2 · drain 1" in text_of(ward / "one.pdf")
    every = called("sheet", "handover", "--record", "record", *AT, "--out", "every.pdf", folder=ward)
    assert every.code == 3, every.err
    assert every.out == "every.pdf: Handover, every ward, 5 drains.\n"
    text = text_of(ward / "every.pdf")
    assert all(f"Patient W-{number} · drain 1" in text for number in range(1, 6))


def test_the_same_inputs_give_the_same_file(ward: Path) -> None:
    made = []
    for name in ("a.pdf", "b.pdf"):
        called("sheet", "transfer", "--record", "record", "--drain", "W-3/1", *AT, "--out", name, folder=ward)
        made.append((ward / name).read_bytes())
    assert made[0] == made[1]


def test_an_incident_needs_its_moment_and_shows_the_ledger(ward: Path) -> None:
    asked = ("sheet", "incident", "--record", "record", "--drain", "W-2/1")
    refused = called(*asked, folder=ward)
    assert refused.code == 2 and "an incident is about a moment" in refused.err
    ran = called(*asked, "--moment", "2041-03-07T06:00:00Z", *AT, "--out", "i.pdf", folder=ward)
    assert ran.code in (0, 3), ran.err
    assert "Head of the record when this was printed" in text_of(ward / "i.pdf")


def test_a_moment_without_an_offset_is_read_in_the_log_s_own_zone_and_that_is_said(folder: Path, ward: Path) -> None:
    """a_stay's layout names +01:00, and the record keeps layouts. Where a layout names none, nothing is guessed."""
    asked = ("sheet", "incident", "log.csv", *ALL[:2], *AT)
    told = called(*asked, "--moment", "2041-03-05T09:30", "--out", "own.html", folder=folder)
    assert told.code in (0, 3) and "is read in the log's zone, +01:00" in told.err
    same = called(*asked, "--moment", "2041-03-05T08:30Z", "--out", "utc.html", folder=folder)
    assert same.code == told.code and "is read in" not in same.err
    assert (folder / "own.html").read_bytes() == (folder / "utc.html").read_bytes()
    assert called("record", "add", "log.csv", *ALL, "--record", "../kept", folder=folder).code == 0
    kept = ("sheet", "incident", "--record", "../kept", "--drain", "SIM-0001/1", *AT, "--moment", "2041-03-05T09:30")
    ran = called(*kept, "--out", "r.html", folder=folder)
    assert ran.code in (0, 3) and "is read in the log's zone, +01:00" in ran.err, ran.err
    zoned = called(*kept, "--zone", "UTC", "--out", "z.html", folder=folder)
    assert zoned.code in (0, 3) and "is read in" not in zoned.err
    none = ("sheet", "incident", "--record", "record", "--drain", "W-2/1", *AT, "--moment", "2041-03-07T07:00")
    refused = called(*none, "--out", "n.html", folder=ward)
    assert refused.code == 2 and "has no offset" in refused.err and "--zone" in refused.err


@pytest.mark.parametrize(
    "args, why",
    [
        (("summary",), "neither a log nor a chart is given"),
        (("poem",), "poem"),
        (("checklist", "log.csv"), "the checklist is blank"),
        (("summary", "log.csv", "--ward", "South"), "--ward is for the handover"),
        (("summary", "log.csv", "--moment", "2041-03-07T06:00:00Z"), "--moment is for an incident"),
        (("checklist", "--out", "x.docx"), "ends in neither .pdf nor .html"),
        (("handover", "--record", "nowhere"), "nowhere"),
    ],
)
def test_what_makes_no_sense_is_refused_in_one_line_and_writes_nothing(
    args: tuple[str, ...], why: str, folder: Path
) -> None:
    before = files_in(folder)
    ran = called("sheet", *args, folder=folder)
    assert ran.code == 2 and why in ran.err and ran.err.count("\n") == 1, ran.err
    assert files_in(folder) == before


def test_a_file_that_is_read_is_not_written_over(folder: Path) -> None:
    page = folder / "chart.html"
    page.write_bytes((folder / "chart.csv").read_bytes())
    ran = called("sheet", "handover", "--chart", "chart.html", "--out", "chart.html", folder=folder)
    assert ran.code == 2 and "would be written over" in ran.err
    assert page.read_bytes() == (folder / "chart.csv").read_bytes()


def test_without_the_extra_it_says_which_and_exits_with_four(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "typst", None)
    from slackwater.errors import MissingPart
    from slackwater.report.sheets.pdf import import_typst

    with pytest.raises(MissingPart, match=r"slackwater\[sheet\]") as refused:
        import_typst()
    assert refused.value.exit_code == 4
