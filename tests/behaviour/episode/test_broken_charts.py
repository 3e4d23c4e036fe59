"""Charts with one fault each: refused whole, in one line that says what, where, and the mend."""

from __future__ import annotations

import re

import pytest

from slackwater.episode.chart import read_chart
from slackwater.errors import ChartError

HEADER = "time,item,value,unit,note"
T = "2033-09-13T08:00:00Z"
LINE = r"ward\.csv, line 2"

# (name, chart, the words that the error must hold, in order)
FILES: list[tuple[str, str | bytes, str]] = [
    ("nothing", "", r"ward\.csv: is empty.*time,item,value,unit,note"),
    ("only empty lines", "\n\n", r"ward\.csv: is empty"),
    ("a column missing", f"time,item,value,note\n{T},swing,present,", r"1: column 'unit' is missing. Add it"),
    ("a column twice", f"{HEADER},note\n", r"line 1: column 'note' stands twice"),
    ("a misspelt column", f"{HEADER},recoded\n", r"line 1: column 'recoded' .*Did you mean 'recorded'"),
    ("a strange column", f"{HEADER},bed\n", r"line 1: column 'bed' is not known.*Write one of: time"),
    ("a column without a name", f"{HEADER},\n", r"line 1: column '' is not known"),
    ("semicolons", "time;item;value;unit;note\n", r"line 1: columns are parted by semicolons.*commas"),
    ("tabs", "time\titem\tvalue\tunit\tnote\n", r"line 1: columns are parted by tabs"),
    ("bars", "time|item|value|unit|note\n", r"line 1: columns are parted by bars"),
    ("no header", f"{T},swing,present,,\n", r"line 1: column .* is not known"),
    ("a row too short", f"{HEADER}\n{T},fluid_output,4", rf"{LINE}: 3 cells where .* 5 columns"),
    ("a comma in a note", f"{HEADER}\n{T},swing,present,,a, b", rf"{LINE}: 6 cells .*quotes"),
    ("an open quote", f'{HEADER}\n{T},note,"walked,,\n', rf"{LINE}: is not comma-separated.*Close the quote"),
    ("text after a quote", f'{HEADER}\n{T},note,"a"b,,\n', rf"{LINE}: is not comma-separated"),
    ("UTF-16", f"{HEADER}\n".encode("utf-16"), r"UTF-16. Save it as UTF-8"),
    ("code page 1252", f"{HEADER}\n{T},note,schläft,,".encode("cp1252"), rf"{LINE}: byte 0xe4 is not UTF-8"),
    ("a NUL", f"{HEADER}\n{T},note,a\0b,,", rf"{LINE}: .*U\+0000"),
    ("an escape", f"{HEADER}\n{T},note,a\x1b[2J,,", rf"{LINE}: .*U\+001B"),
    ("too large", b"x" * (16 * 1024 * 1024 + 1), r"is larger than 16 MB"),
]  # fmt: skip

# (what stands in the row behind the header, the words of the error behind 'ward.csv, line 2, ')
ROWS: list[tuple[str, str]] = [
    (",swing,present,,", r"column time: '' is not a date and time. Write it with its offset"),
    ("yesterday,swing,present,,", r"column time: 'yesterday' is not a date and time"),
    ("13.09.2033 08:00,swing,present,,", r"column time: .*not a date and time.*2033-09-13T15:19"),
    ("03/04/2033 08:00,swing,present,,", r"column time: .*not a date and time"),
    ("2033-09-13,swing,present,,", r"column time: .*not a date and time"),
    ("20330913T080000Z,swing,present,,", r"column time: .*not a date and time"),
    ("2033-W37-2T08:00Z,swing,present,,", r"column time: .*not a date and time"),
    ("2033-02-30T08:00:00Z,swing,present,,", r"column time: .*on no calendar or clock"),
    ("2033-09-13T24:00:00Z,swing,present,,", r"column time: .*calendar or clock"),
    ("2033-09-13T08:60:00Z,swing,present,,", r"column time: .*calendar or clock"),
    ("2033-09-13T23:59:60Z,swing,present,,", r"column time: .*calendar or clock"),
    ("0203-09-13T08:00:00Z,swing,present,,", r"column time: .*no year.*from 1970 to 2999"),
    ("2033-09-13T08:00:00,swing,present,,", r"column time: .*zone is not said.*--zone"),
    ("2033-09-13T08:00:00+25:00,swing,present,,", r"column time: .*offset no clock on earth keeps"),
    ("٢٠٣٣-09-13T08:00:00Z,swing,present,,", r"column time: .*not a date and time"),
    (f"{T},,present,,", r"column item: no item is named"),
    (f"{T},fluid_output,200,,", r"column unit: fluid_output 200 has no unit. .*mL"),
    (f"{T},fluid_output,200,ccm,", r"column unit: 'ccm' is not a unit of volume. Write one of:.*mL"),
    (f"{T},fluid_output,200,ML,", r"column unit: 'ML' is not a unit of volume"),
    (f"{T},fluid_output,200,mL/h,", r"column unit: 'mL/h' is not a unit of volume"),
    (f"{T},fluid_output,,kPa,", r"column unit: 'kPa' is not a unit of volume"),
    (f"{T},fluid_output,200 mL,mL,", r"column value: .*200 mL.* is not a number.*leave it empty"),
    (f"{T},fluid_output,about 200,mL,", r"column value: .*not a number"),
    (f"{T},fluid_output,200-300,mL,", r"column value: .*not a number"),
    (f"{T},fluid_output,---,mL,", r"column value: .*not a number.*leave it empty if it was not measured"),
    (f'{T},fluid_output,"12,5",mL,', r"column value: .*not a number.*decimal point"),
    (f"{T},fluid_output,1_000,mL,", r"column value: .*not a number"),
    (f"{T},fluid_output,nan,mL,", r"column value: .*not a number"),
    (f"{T},fluid_output,inf,mL,", r"column value: .*not a number"),
    (f"{T},fluid_output,٢٠,mL,", r"column value: .*not a number"),
    (f"{T},fluid_output,-20,mL,", r"column value: fluid_output -20 is below 0 mL"),
    (f"{T},canister_level,-1,mL,", r"column value: .*below 0 mL"),
    (f"{T},air_leak_read,20,,", r"column unit: air_leak_read 20 has no unit. .*mL/min"),
    (f"{T},air_leak_read,20,mL,", r"column unit: 'mL' is not a unit of flow"),
    (f"{T},air_leak_read,-5,mL/min,", r"column value: .*below 0 mL/min"),
    (f"{T},suction_ordered,-20,,", r"column unit: .*no unit. .*cmH2O"),
    (f"{T},suction_ordered,usual,cmH2O,", r"column value: .*not a number.*none_added"),
    (f"{T},suction_ordered,none_added,kPa,", r"column unit: none_added takes no unit"),
    (f"{T},swing,yes,,", r"column value: 'yes' is no value of swing. Write one of: present, reduced, absent"),
    (f"{T},swing,presnt,,", r"column value: .*Did you mean 'present'"),
    (f"{T},swing,present,cm,", r"column unit: swing takes no unit, 'cm' is written. Empty it"),
    (f"{T},cough,no,,", r"column value: 'no' is no value of cough.*no_leak"),
    (f"{T},fluid_appearance,pinkish,,", r"column value: .*fluid_appearance.*haemoserous"),
    (f"{T},chest_xray,normal,,", r"column value: .*chest_xray.*expanded"),
    (f"{T},breathing,ventilated,,", r"column value: .*breathing.*invasive"),
    (f"{T},canister,full,,", r"column value: .*canister.*changed"),
    (f"{T},clamp,trial,,", r"column value: .*clamp.*on, off"),
    (f"{T},bubbling,E,,", r"column value: .*bubbling.*e\.g\. E4"),
    (f"{T},bubbling,E8,,", r"column value: .*bubbling"),
    (f"{T},bubbling,X3,,", r"column value: .*bubbling"),
    (f"{T},spo2,101,%,", r"column value: spo2 101 is above 100 %"),
    (f"{T},spo2,96,,", r"column unit: spo2 96 has no unit. .*%"),
    (f"{T},temperature,37.5,K,", r"column unit: 'K' is not a unit of temperature. Write one of:.*Cel"),
    (f"{T},weight,70,lb,", r"column unit: 'lb' is not a unit of mass"),
    (f"{T},pain_rest,11,,", r"column value: pain_rest 11 is above 10"),
    (f"{T},pain_cough,3,%,", r"column unit: '%' is not a unit of plain. Empty it"),
    (f"{T},surgical_emphysema,6,,", r"column value: surgical_emphysema 6 is above 5"),
    (f"{T},surgical_emphysema,2.5,,", r"column value: .*not a whole number"),
    (f"{T},heart_rate,-80,/min,", r"column value: .*below 0 /min"),
    # common practice, no source: what no living patient weighs or measures, and no suction unit gives
    (f"{T},weight,0,kg,", r"column value: .*below 0\.1 kg.*Write what was read"),
    (f"{T},weight,70,g,", r"column value: .*below 100 g"),
    (f"{T},temperature,300,Cel,", r"column value: .*above 45 Cel"),
    (f"{T},temperature,37,[degF],", r"column value: .*below 77 \[degF\]"),
    (f"{T},temperature,98,Cel,", r"column value: .*above 45 Cel"),
    (f"{T},suction_ordered,5000,cmH2O,", r"column value: .*above 1000 cmH2O"),
    (f"{T},suction_delivered,-200,kPa,", r"column value: .*above 98\.0665 kPa"),
]  # fmt: skip


def refusal(data: str | bytes, zone: str | None = None) -> str:
    with pytest.raises(ChartError) as caught:
        read_chart(data.encode() if isinstance(data, str) else data, "ward.csv", zone)
    text = str(caught.value)
    assert "\n" not in text, "an error is one line"
    assert caught.value.where.startswith("ward.csv")
    assert caught.value.mend, "an error names the mend"
    assert caught.value.exit_code == 2
    return text


@pytest.mark.parametrize(("data", "words"), [file[1:] for file in FILES], ids=[file[0] for file in FILES])
def test_a_broken_file_is_refused(data: str | bytes, words: str) -> None:
    assert re.search(words, refusal(data))


@pytest.mark.parametrize(("row", "words"), ROWS, ids=[row for row, _ in ROWS])
def test_a_row_that_cannot_be_read_refuses_the_chart(row: str, words: str) -> None:
    text = refusal(f"{HEADER}\n{row}\n")
    assert re.match(rf"ward\.csv, line 2, (?:{words})", text), text


def test_one_broken_row_behind_good_ones_refuses_them_all_and_is_named() -> None:
    good = f"{T},swing,present,,\n"
    assert "ward.csv, line 5, column value" in refusal(f"{HEADER}\n{good * 3}{T},swing,maybe,,\n")


NO_ZONES = ["", "Vienna", "CEST2", "localtime", "right/UTC", "../etc/passwd", "+25:00", "Europe"]


@pytest.mark.parametrize("zone", NO_ZONES)
def test_a_zone_that_is_none_is_refused(zone: str) -> None:
    assert "names no time zone. Write an IANA name" in refusal(f"{HEADER}\n{T},swing,present,,\n", zone)


def test_a_recorded_time_that_cannot_be_read_refuses_the_chart() -> None:
    assert "line 2, column recorded" in refusal(f"{HEADER},recorded\n{T},swing,present,,,late\n")


def test_there_are_at_least_sixty_broken_charts() -> None:
    assert len(FILES) + len(ROWS) >= 60
