"""Rule files that cannot be used: each is refused in one line that names file, clause, key and mend."""

from __future__ import annotations

import pytest

from behaviour.protocol.a_rule import TEXT, load
from slackwater.errors import ProtocolError
from slackwater.protocol import load_protocol

BIN = 'bin = "10 min"\nis = "below"\nlimit = "50'
COLOUR = 'within = "24 h"\n\n[[removal]]\nid = "film"'

# (what stands in the good file, what is put in its place, where it is found, the key, words of the mend)
BROKEN = [
    # measures
    ('measure = "spo2"', 'measure = "spo"', "removal oxygen", "measure", "Did you mean 'spo2'?"),
    ('measure = "air_leak"\nscope', 'measure = "leak"\nscope', "removal air", "measure", "protocol measures"),
    ('measure = "spo2"', "measure = 2", "removal oxygen", "measure", 'measure = "2"'),
    # limits: a number with its own unit, nothing guessed
    ('limit = "50 mL/min"', 'limit = "50"', "removal air", "limit", '"20 mL/min"'),
    ('limit = "50 mL/min"', "limit = 50", "removal air", "limit", "is not text"),
    ('limit = "50 mL/min"', 'limit = "50 mL"', "removal air", "limit", "L/min, mL/h, mL/min"),
    ('limit = "50 mL/min"', 'limit = "50 ML/min"', "removal air", "limit", "mL/min"),
    ('limit = "50 mL/min"', 'limit = "nan mL/min"', "removal air", "limit", "20 mL/min"),
    ('limit = "50 mL/min"', 'limit = "inf mL/min"', "removal air", "limit", "20 mL/min"),
    ('limit = "50 mL/min"', 'limit = "1_000 mL/min"', "removal air", "limit", "mL/min"),
    ('limit = "50 mL/min"', 'limit = "50,5 mL/min"', "removal air", "limit", "one decimal mark"),
    ('limit = "50 mL/min"', 'limit = "٥٠ mL/min"', "removal air", "limit", "20 mL/min"),
    ('limit = "50 mL/min"', 'limit = ["50 mL/min"]', "removal air", "limit", "is not text"),
    ('limit = "92 %"', 'limit = "92"', "removal oxygen", "limit", '"92 %"'),
    ('limit = "92 %"', 'limit = "92 kPa"', "removal oxygen", "limit", "%"),
    ('limit = "6 mL/kg"\nper = "kg"', 'limit = "6 mL/kg"', "removal fluid", "limit", 'per = "kg"'),
    ('limit = "24 h"', 'limit = "24"', "removal day", "limit", '"8 h"'),
    # comparisons
    ('is = "below"\nlimit = "50', 'is = "under"\nlimit = "50', "removal air", "is", "below, at_most"),
    ('is = "below"\nlimit = "50', 'is = "<"\nlimit = "50', "removal air", "is", "below, at_most"),
    ('is = "below"\nlimit = "50', 'is = "one_of"\nlimit = "50', "removal air", "is", "below, at_most"),
    ('is = "below"\nlimit = "50', 'is = "shown"\nlimit = "50', "removal air", "is", "comparison"),
    ('is = "none_of"', 'is = "below"', "removal colour", "is", "one_of or none_of"),
    ('is = "none_of"', 'is = "shown"', "removal colour", "is", "one_of or none_of"),
    # words
    ('limit = ["bloody", "chylous"]', 'limit = ["blody"]', "removal colour", "limit", "bloody, clotted"),
    ('limit = ["bloody", "chylous"]', "limit = []", "removal colour", "limit", "serous"),
    ('limit = ["bloody", "chylous"]', 'limit = "bloody"', "removal colour", "limit", "limit = ["),
    ('is = "shown"\n', 'is = "shown"\nlimit = ["expanded"]\n', "removal film", "limit", "Leave it out"),
    # windows
    ('lasting = "8 h"', 'lasting = "8"', "removal air", "lasting", '"8 h"'),
    ('lasting = "8 h"', 'lasting = "8 hrs"', "removal air", "lasting", "d, h, min, s"),
    ('lasting = "8 h"', 'lasting = "0 h"', "removal air", "lasting", "8 h"),
    ('lasting = "8 h"', 'lasting = "-8 h"', "removal air", "lasting", "8 h"),
    ('lasting = "8 h"', 'lasting = "30 s"', "removal air", "lasting", "whole minutes"),
    ('lasting = "8 h"', 'lasting = "8 h"\nwithin = "4 h"', "removal air", "lasting", "one of them"),
    (BIN, BIN.replace("10 min", "90 s"), "removal air", "bin", "10 min"),
    (BIN, BIN.replace("10 min", "0 min"), "removal air", "bin", "longer"),
    ('limit = "92 %"', 'limit = "92 %"\nbin = "10 min"', "removal oxygen", "bin", "leave it out"),
    (COLOUR, COLOUR.replace("within", "lasting"), "removal colour", "lasting", "within"),
    ('lasting = "2 h"', 'lasting = "90 min"', "escalation bleeding", "lasting", "within = "),
    ('data_age = "4 h"', 'data_age = "four hours"', "removal fluid", "data_age", '"8 h"'),
    ('limit = "50 mL/min"', 'limit = "-50 mL/min"', "removal air", "limit", "without the minus sign"),
    ('limit = "92 %"', 'limit = "-92 %"', "removal oxygen", "limit", "without the minus sign"),
    ('limit = "50 mL/min"', 'limit = "1e15 mL/min"', "removal air", "limit", "number and its unit"),
    ('lasting = "8 h"', 'lasting = "1e6 h"', "removal air", "lasting", "8 h"),
    ('lasting = "8 h"', 'lasting = "9 min"', "removal air", "bin", "a shorter bin"),
    ('within = "24 h"', 'within = "1e25 h"', "removal colour", "within", "8 h"),
    # the rest of a clause
    ('scope = "space"', 'scope = "lung"', "removal air", "scope", "drain, space, patient"),
    ('per = "kg"', 'per = "lb"', "removal fluid", "per", "kg"),
    ('limit = "92 %"', 'limit = "92 %"\nper = "kg"', "removal oxygen", "per", "Leave it out"),
    ('after = "suction_change"', 'after = "suction"', "removal film", "after", "suction_change"),
    ('of = "operation.end"', 'of = "operation"', "removal day", "of", "operation.end"),
    ('limit = "92 %"', 'limit = "92 %"\nof = "connected"', "removal oxygen", "of", "Leave it out"),
    ('limit = "92 %"', 'limit = "92 %"\nsay = "call"', "removal oxygen", "say", "Leave it out"),
    ('[[escalation]]\nid = "clamp"', '[[removal]]\nid = "clamp"', "removal clamp", "measure", "[[escalation]]"),
    ('event = "operation.end"', 'event = "the operation"', "bleeding, only_until", "event", "operation.end"),
    ('plus = "6 h"', 'plus = "six hours"', "bleeding, only_until", "plus", "8 h"),
    ('plus = "6 h"', 'plus = "6 h"\nminus = "1 h"', "bleeding, only_until", "minus", "event, plus"),
    ('id = "film"', 'id = "air"', "removal", "'air'", "its own id"),
    ('id = "film"', 'id = "The film"', "removal The film", "id", "small letters"),
    ('id = "film"', "id = 7", "removal 7", "id", 'id = "7"'),
    # keys that nobody knows
    (BIN, BIN.replace("bin", "bins"), "removal air", "bins", "'bin'"),
    ('name = "invented"', 'nome = "invented"', "invented.toml", "nome", "'name'"),
    ("[evidence]", "[evidences]", "invented.toml", "evidences", "'evidence'"),
    ('[[removal]]\nid = "film"', '[[removals]]\nid = "film"', "invented.toml", "removals", "'removal'"),
    ("[guards.tube_open]", "[guards.tube]", "guards", "tube", "'tube_open'"),
    ("min_age_years = 16", "min_age = 16", "applies", "min_age", "'min_age_years'"),
    # whom it is for
    ("min_age_years = 16", 'min_age_years = "16"', "applies", "min_age_years", "= 16"),
    ("min_age_years = 16", "min_age_years = true", "applies", "min_age_years", "= 16"),
    ("min_age_years = 16", "min_age_years = inf", "applies", "min_age_years", "= 16"),
    ('needs = ["operation.end"]', 'needs = ["operation_end"]', "applies", "needs", "operation.end"),
    ('space = ["pleural"]', 'space = ["chest"]', "applies", "space", "pleural"),
    ('indication = ["lung_resection"]', 'indication = "lung_resection"', "applies", "indication", "["),
    # evidence and guards
    ('data_age = "1 h"', 'data_age = "an hour"', "evidence", "data_age", "8 h"),
    ('data_age = "1 h"', 'data_age = "0 h"', "evidence", "data_age", "8 h"),
    ('gaps = "0 min"', "gaps = 0", "evidence", "gaps", "gaps ="),
    ('"suction_change", "clamp_trial"', '"suction", "clamp_trial"', "evidence", "restart_on", "suction_change"),
    ('means = "refused"', 'means = "yes"', "evidence", "means", "refused, allowed"),
    ('by = ["swing", "air", "charted"]', "by = []", "guards.tube_open", "by", "swing"),
    ('by = ["swing", "air", "charted"]', 'by = ["swings"]', "guards.tube_open", "by", "swing, air, fluid, charted"),
    ('also_at = ["start"]', 'also_at = ["begin"]', "guards.tube_open", "also_at", "start"),
    # the whole file
    ('status = "draft"', 'status = "final"', "invented.toml", "status", "example, draft"),
    ('status = "draft"', 'status = "approved"', "invented.toml", "approved_by", "role and the date"),
    ('version = "1"', "version = 1", "invented.toml", "version", 'version = "1"'),
    ("[[schedule]]", "[schedule]", "invented.toml", "schedule", "[[schedule]]"),
    ("[[step_down]]", "[step_down]", "invented.toml", "step_down", "[[step_down]]"),
    ('every = "4 h"', 'every = "4"', "schedule number 1", "every", "8 h"),
    ('name = "invented"', 'name = "invented"\nname = "again"', "invented.toml", "TOML", "line"),
    ('name = "invented"', 'name = "invented', "invented.toml", "TOML", "line"),
]  # fmt: skip


def refused(text: str) -> str:
    with pytest.raises(ProtocolError) as caught:
        load(text)
    return str(caught.value)


def test_the_rule_that_is_broken_below_is_good_as_it_stands() -> None:
    protocol = load(TEXT)
    assert [clause.id for clause in protocol.removal] == ["air", "fluid", "colour", "film", "oxygen", "day"]
    assert protocol.air_clause is protocol.removal[0]
    assert protocol.removal[0].bin_min == 10
    assert protocol.removal[1].limit == 6
    assert protocol.escalation[0].only_until == ("operation.end", 6 * 3600)
    assert protocol.escalation[0].say == "EXAMPLE TEXT"
    assert protocol.schedule[0].every_s == 4 * 3600


@pytest.mark.parametrize(
    ("good", "bad", "where", "key", "mend"), BROKEN, ids=[f"{b!r} at {w}" for _, b, w, _, _ in BROKEN]
)
def test_a_broken_rule_is_refused_in_one_line_with_place_key_and_mend(
    good: str, bad: str, where: str, key: str, mend: str
) -> None:
    assert good in TEXT
    said = refused(TEXT.replace(good, bad, 1))
    assert "\n" not in said
    assert said.startswith("invented.toml")
    place, _, rest = said.partition(": ")
    assert where in place
    assert key in rest
    assert mend in rest


REQUIRED = {
    'name = "invented"': "name",
    'version = "1"': "version",
    'status = "draft"': "status",
    'data_age = "1 h"': "data_age",
    'gaps = "0 min"': "gaps",
    'within = "4 h"\nalso_at': "within",
    'by = ["swing", "air", "charted"]': "by",
    'within = "8 h"\n\n[[removal]]\nid = "air"': "within",
    'id = "air"': "id",
    'measure = "air_leak"\nscope': "measure",
    'is = "below"\nlimit = "50': "is",
    'limit = "50 mL/min"': "limit",
    'lasting = "8 h"': "lasting",
    'is = "at_most"': "is",
    'limit = "6 mL/kg"': "limit",
    'within = "8 h"\ndata_age': "within",
    'is = "none_of"': "is",
    'limit = ["bloody", "chylous"]': "limit",
    'is = "shown"': "is",
    'measure = "spo2"': "measure",
    'limit = "92 %"': "limit",
    'of = "operation.end"': "of",
    'limit = "24 h"': "limit",
    'id = "calmer"': "id",
    'limit = "200 mL/min"': "limit",
    'within = "1 h"\n\n[[escalation]]': "lasting",
    'id = "bleeding"': "id",
    'limit = "100 mL"': "limit",
    'event = "operation.end"': "event",
    'plus = "6 h"': "plus",
    'limit = "30 min"': "limit",
    'item = "spo2"': "item",
    'every = "4 h"': "every",
}


@pytest.mark.parametrize(("line", "key"), REQUIRED.items(), ids=[f"{k} of {v!r}" for v, k in REQUIRED.items()])
def test_a_clinical_key_that_is_missing_is_refused_by_its_name(line: str, key: str) -> None:
    """haz-D02: no clinical number has a default."""
    first = line.partition("\n")[0]
    at = TEXT.index(line)
    said = refused(TEXT[:at] + "\n" + TEXT[at + len(first) :])
    assert key in said.partition(": ")[2]
    assert "missing" in said or "needs" in said or "names" in said


def test_every_line_of_the_file_is_either_needed_or_may_be_left_out_without_a_number_taking_its_place() -> None:
    """Whatever line is deleted, the rule is refused or loads with exactly the numbers that are left."""
    lines = TEXT.splitlines()
    for number, line in enumerate(lines):
        if " = " not in line:
            continue
        rest = "\n".join(lines[:number] + lines[number + 1 :])
        try:
            protocol = load(rest)
        except ProtocolError:
            continue
        written = {clause.limit_text for clause in (*protocol.removal, *protocol.step_down, *protocol.escalation)}
        assert all(text in rest or ", " in text for text in written), line


@pytest.mark.parametrize("guard", ["tube_open", "effort_seen"])
def test_a_removal_rule_without_one_of_its_guards_is_refused(guard: str) -> None:
    start = TEXT.index(f"[guards.{guard}]")
    end = TEXT.index("[", start + 1) if guard == "tube_open" else TEXT.index("[[removal]]")
    if guard == "tube_open":
        end = TEXT.index("[guards.effort_seen]")
    said = refused(TEXT[:start] + TEXT[end:])
    assert f"{guard} missing" in said
    assert 'guards = "none"' in said


def test_guards_may_be_waived_aloud_and_the_rule_remembers_it() -> None:
    start, end = TEXT.index("[guards.tube_open]"), TEXT.index("[[removal]]")
    protocol = load('guards = "none"\n' + TEXT[:start] + TEXT[end:])
    assert protocol.guards_waived
    assert protocol.tube_open is None


def test_guards_said_to_be_anything_else_in_a_word_are_refused() -> None:
    start, end = TEXT.index("[guards.tube_open]"), TEXT.index("[[removal]]")
    assert "guards" in refused('guards = "off"\n' + TEXT[:start] + TEXT[end:])


def test_a_rule_without_any_clause_is_refused() -> None:
    said = refused('name = "x"\nversion = "1"\nstatus = "draft"\n[evidence]\ndata_age = "1 h"\ngaps = "0 min"\n')
    assert "holds no clause" in said
    assert "[[removal]]" in said


@pytest.mark.parametrize(
    ("data", "why"), [(b"\xff\xfe", "UTF-8"), (b"", "clause"), (b"[" * 5000, "TOML"), (b"\x00", "TOML")]
)
def test_bytes_that_are_no_rule_are_refused_and_nothing_else_happens(data: bytes, why: str) -> None:
    with pytest.raises(ProtocolError, match=why):
        load_protocol(data, "invented.toml")


def test_deep_nesting_is_refused() -> None:
    with pytest.raises(ProtocolError):
        load_protocol(b"x = " + b"[" * 100_000 + b"]" * 100_000, "invented.toml")


def test_a_byte_order_mark_is_tolerated() -> None:
    assert load_protocol(b"\xef\xbb\xbf" + TEXT.encode(), "x").name == "invented"


def test_every_changed_byte_gives_another_hash() -> None:
    assert load(TEXT).sha256 != load(TEXT + "#").sha256
    assert load(TEXT).sha256 == load(TEXT).sha256
