"""What every page of every sheet carries, whatever the sheet: read back from the PDF and from the HTML."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pypdfium2
import pytest

from behaviour.report.a_hostile_record import TEXTS, hostile
from behaviour.report.read_page import read_page
from behaviour.report.sheets.a_sheet import found, material, pages, printed, set_
from slackwater.assessment.cautions import OTHER_CAUSES, OUT_OF_SCOPE, RIGHT_DRAIN, SUPPORT_ONLY, TESTED, WHEN_DOWN
from slackwater.assessment.document import document
from slackwater.report.sheets import pdf as pdf_room
from slackwater.report.sheets.frame import YOUR_TEAM, YOURS
from slackwater.report.sheets.html import html
from slackwater.report.sheets.make import KINDS, print_checklist
from slackwater.report.sheets.pdf import pdf
from slackwater.report.sheets.sheet import Print, as_data
from slackwater.report.words import amount

TYPST = '#read("/etc/passwd") ] #panic() <script> $x$ `#eval` \\ // /* @preview/x:1'
BANNED = ("safe to remove", "remove now", "ready for removal", "all clear", "normal")  # safety statement, banned words


PATIENTS = ("home", "explain")  # kept by the patient: the same cautions in a patient's words


@pytest.mark.parametrize("kind", PATIENTS)
def test_a_patients_sheet_carries_the_same_with_a_date_and_a_patients_words(kind: str) -> None:
    """What a print must carry: safety statement, where each caution must show. In place of an hour's expiry, a date."""
    of = material(kind=kind)
    assert of.found is not None and of.found.evaluation is not None
    rule, said = of.found.evaluation.protocol, pages(set_(kind, of).data)
    for number, text in enumerate(said, 1):
        for part in (f"Patient {of.episode.patient_id}", f"drain {of.episode.drain_number}", str(of.episode.side)):
            assert part in text, part
        assert f"Page {number} of {len(said)}" in text
        assert f"{rule.name} {rule.version} ({rule.sha256[:12]})" in text
        assert re.search(r"Printed on \w{3} \d\d \w{3} \d{4}, recorded until .{15,40}\. If something", text)  # cau-C5
        assert YOUR_TEAM in text and YOURS in text and "Judged by protocol" in text  # cau-C1, cau-C9, cau-C6
        assert "out of date" not in text and "old when printed" not in text
    for caution in (OTHER_CAUSES, OUT_OF_SCOPE, TESTED):  # cau-C4, cau-C10, cau-C15
        assert caution.text in said[0], caution.id


def test_a_patients_sheet_of_another_day_says_of_which_day_it_tells() -> None:
    text = pages(set_("home", replace(material(kind="home"), back=True)).data)[0]
    assert re.search(r"As it was recorded on \w{3} \d\d \w{3} \d{4}; printed on \w{3} \d\d \w{3} \d{4}, recorded", text)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in PATIENTS])
def test_every_page_says_whose_it_is_until_when_by_which_rule_and_what_it_is_not(kind: str) -> None:
    of = material(kind=kind)
    assert of.found is not None and of.found.evaluation is not None
    rule, said = of.found.evaluation.protocol, pages(set_(kind, of).data)
    for number, text in enumerate(said, 1):
        one = of.episode
        for part in (f"Patient {one.patient_id}", f"drain {one.drain_number}", str(one.side), "site not recorded"):
            assert part in text, part
        assert f"Page {number} of {len(said)}" in text
        assert f"{rule.name} {rule.version} ({rule.sha256[:12]})" in text
        assert f"{rule.status} rule: not approved for use".upper() in text
        assert "Data until" in text and "old when printed" in text  # cau-C5
        assert re.search(r"Printed \w{3} \d\d \w{3} \d{4} \d\d:\d\d \(UTC\)", text)
        assert SUPPORT_ONLY.text in text and RIGHT_DRAIN.text in text  # cau-C1, cau-C9
        assert "Judged by protocol" in text  # cau-C6
        assert not [word for word in BANNED if word in text.lower()]
    for caution in (OTHER_CAUSES, OUT_OF_SCOPE, WHEN_DOWN, TESTED):
        assert caution.text in said[0], caution.id
    assert "The source reports flow in steps" in said[0]  # cau-C11


@pytest.mark.parametrize("kind", KINDS)
def test_a_pdf_is_tagged_has_a_title_and_a_language(kind: str) -> None:
    """PDF/UA-1, ISO 14289-1:2014 clause 7.1 (tagged), 7.2 (language), XMP identifier pdfuaid:part (clause 5)."""
    done = set_(kind, material(kind=kind))
    assert done.tagged and not done.lacking
    data, reader = done.data, pypdfium2.PdfDocument(done.data)
    assert b"/MarkInfo" in data and b"/StructTreeRoot" in data and b"/Lang" in data
    assert b"<pdfuaid:part>1</pdfuaid:part>" in data
    assert "INV" in reader.get_metadata_value("Title") or "SIM" in reader.get_metadata_value("Title")


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_words_give_the_same_bytes(kind: str) -> None:
    of = material(kind=kind)
    assert set_(kind, of).data == set_(kind, replace(of)).data


@pytest.mark.parametrize("kind", KINDS)
def test_html_says_what_the_pdf_says(kind: str) -> None:
    of = material(kind=kind)
    made = printed(kind, of)
    text, whole = " ".join(pages(pdf(made).data)), read_page(html(made)).text
    for sheet in as_data(made)["sheets"]:
        for section in sheet["sections"]:
            assert section["head"] in text and section["head"] in whole
            for part in section["parts"]:
                rows = part["rows"] if part["kind"] == "facts" else ()
                for row in rows:
                    assert " ".join(row["text"].split()) in text and " ".join(row["text"].split()) in whole


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("text", [TYPST, TEXTS["script"], TEXTS["template"]], ids=["typst", "script", "template"])
def test_no_text_of_a_record_becomes_markup(kind: str, text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Injection, by data alone: what somebody typed stands on the paper as typed."""
    monkeypatch.setitem(TEXTS, text, text)
    made = printed(kind, material(hostile(text), kind))
    flat = "".join(text.split())
    for page in pages(pdf(made).data):
        assert flat in "".join(page.split())
    page = read_page(html(made))
    assert not page.all("script") and not page.all("img")
    assert " ".join(text.split()) in page.text


def test_letters_that_no_font_here_has_are_named_and_the_print_goes_out() -> None:
    """A print at the bedside never fails: a name in any script is printed, or it is said that it could not be."""
    one = material()
    assert one.found is not None
    named = replace(one.found, episode=replace(one.found.episode, patient_id="李 Ελένη עברית Жанна"))
    done = set_("summary", material(named))
    text = pages(done.data)[0]
    assert done.lacking == ("李",) and done.tagged
    assert "Letters that cannot be printed here (1) stand as their numbers, such as [U+674E]" in text
    assert "[U+674E] Ελένη" in text and "Жанна" in text
    assert "עברית" in text or "תירבע" in text  # readers give it in either order


def test_where_the_standard_cannot_be_kept_the_print_goes_out_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    real, typst = pdf_room._compiled, pdf_room.import_typst()

    def refuses(told: object, standard: str | None) -> bytes:
        if standard is not None:
            raise typst.TypstError("PDF/UA-1 error: something else")
        return real(told, standard)  # type: ignore[arg-type]

    monkeypatch.setattr(pdf_room, "_compiled", refuses)
    done = set_("handover", material())
    assert not done.tagged and "not tagged for readers by ear" in pages(done.data)[0]


def test_no_letter_that_turns_the_writing_reaches_the_paper() -> None:
    one = material()
    assert one.found is not None
    turned = replace(one.found, episode=replace(one.found.episode, site="\u202etfel\u202c"))
    assert "[U+202E]tfel" in pages(set_("handover", material(turned)).data)[0]


def test_a_word_without_an_end_stays_on_the_paper() -> None:
    """An outline: no letter lies outside the sheet's margins (15 mm, in points)."""
    done = set_("handover", material(hostile("long")))
    page = pypdfium2.PdfDocument(done.data)[0]
    text = page.get_textpage()
    rights = [text.get_rect(n)[2] for n in range(text.count_rects())]
    assert max(rights) <= page.get_width() - 15 * 72 / 25.4 + 1


def test_the_numbers_are_those_of_the_assessment() -> None:
    of = material(found("plateau", 26.0, "strict-local"))
    assert of.found is not None
    told, text = document(of.found), " ".join(pages(set_("summary", of).data))
    leak = told["leak"]
    assert f"{amount(leak['low'])} to {amount(leak['high'])} mL/min" in text
    for clause in told["criteria"]:
        value = clause["value"]
        if (
            value is not None
            and value.get("low") is not None
            and value["low"] == value["high"]
            and value["unit"] != "s"
        ):
            assert f"{amount(value['low'])} {value['unit']}" in text, clause["id"]
    assert told["protocol"]["sha256"] in text.replace(" ", "")
    assert f"Log: {told['ledger']['rows_read']} rows read = {told['ledger']['used']} used" in text


def test_an_approved_rule_has_no_mark_and_a_draft_says_so() -> None:
    one = found()
    assert one.evaluation is not None
    for status, mark in (("approved", False), ("draft", True), ("retired", True)):
        rule = replace(one.evaluation.protocol, status=status, approved_by="Invented lead, 2041-01-01")
        text = pages(set_("handover", material(replace(one, evaluation=replace(one.evaluation, protocol=rule)))).data)[
            0
        ]
        assert (f"{status} rule: not approved for use".upper() in text) is mark


def test_what_is_older_than_the_rule_takes_is_out_of_date_and_shows_no_leak() -> None:
    one = found()
    late = one.as_of_ms + 5 * 3_600_000
    import slackwater
    from end_to_end.a_stay import stay  # the same stay, judged five hours after its last reading

    made = stay("healing", 30.0)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    old = slackwater.assess(
        [slackwater.read_log(made.logs[0], layout, "log-1.csv")],
        chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv"),
        episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        protocol=slackwater.shipped_protocol("air-50-8h"), now_ms=late,
    )  # fmt: skip
    for kind in ("handover", "transfer", "summary"):
        text = pages(set_(kind, material(old)).data)[0]
        assert "OUT OF DATE by its rule since" in text
        assert "cannot tell: no data since" in text


def test_the_picture_is_a_drawing_with_a_text_and_holds_no_words_of_the_record() -> None:
    made = printed("summary", material(hostile("script")))
    (drawn,) = [
        part
        for section in as_data(made)["sheets"][0]["sections"]
        for part in section["parts"]
        if part["kind"] == "picture"
    ]
    assert drawn["svg"].startswith("<svg") and "window" not in drawn["svg"]
    assert drawn["says"].startswith("From ")


def test_black_and_white_is_enough() -> None:
    """Every ink of a page is a grey or the dark state's, which differs from hatching and from empty by lightness."""
    page = pypdfium2.PdfDocument(set_("summary", material(found("plateau", 26.0, "strict-local"))).data)[0]
    picture = page.render(scale=1).to_pil().convert("RGB")
    colours = picture.getcolors(1_000_000) or []
    vivid = [rgb for count, rgb in colours if max(rgb) - min(rgb) > 60 and count > 20]
    assert not vivid


def test_a_blank_form_needs_no_patient_and_fits_one_page() -> None:
    made = print_checklist(0, material().zone)
    (text,) = pages(pdf(made).data)
    assert "Blank form" in text and "Page 1 of 1" in text and SUPPORT_ONLY.text in text
    assert "an empty box is not a zero" in text and "local" in text


def test_a_print_is_data_alone() -> None:
    made = printed("handover", material())
    assert isinstance(made, Print) and json.loads(json.dumps(as_data(made)))["sheets"][0]["name"] == "handover"
