"""What the record holds: every noun, and the fields of its rows."""

from __future__ import annotations

from dataclasses import dataclass

TEXT, INSTANT, COUNT, NUMBER, FLAG = "text", "instant", "count", "number", "flag"

Value = str | int | float | bool | None


@dataclass(frozen=True)
class Field:
    """One field of a noun. Instants end in `_ms`: UTC milliseconds. None is 'not known', never 'no'.

    needed: it must be given. fixed: no later version may change it, so rows may be looked up by it.
    """

    name: str
    kind: str = TEXT
    needed: bool = False
    fixed: bool = False


@dataclass(frozen=True)
class Noun:
    """A kind of thing in the record; each version of a thing is a row of its own."""

    name: str
    fields: tuple[Field, ...]

    def field(self, name: str) -> Field:
        return next(field for field in self.fields if field.name == name)


def _text(*names: str) -> tuple[Field, ...]:
    return tuple(Field(name) for name in names)


def _instants(*names: str) -> tuple[Field, ...]:
    return tuple(Field(name, INSTANT) for name in names)


def _counts(*names: str) -> tuple[Field, ...]:
    return tuple(Field(name, COUNT) for name in names)


def _of(*names: str) -> tuple[Field, ...]:
    """Whose it is: given once and never changed."""
    return tuple(Field(name, TEXT, needed=True, fixed=True) for name in names)


_ALL = (
    # Who works here. Roles are those of ROLES; `wards` is a JSON list of those they see, None: all.
    Noun("person", (Field("name", needed=True), Field("role", needed=True), *_text("wards"), *_instants("left_ms"))),
    # Whose drain. `label` is the hospital's own number or pseudonym; the record needs no name.
    Noun("patient", _of("label")),
    Noun(
        "episode",
        (
            *_of("patient"),
            Field("age_years", NUMBER), Field("weight_kg", NUMBER),
            *_text("indication", "operation_kind"), *_instants("operation_end_ms"),
            *_text("breathing", "ward", "bed", "initials"), *_instants("closed_ms"), *_text("closed_why"),
        ),
    ),
    Noun("space", (*_of("episode"), *_text("kind", "side"))),
    Noun(
        "drain",
        (
            *_of("episode"), Field("space", needed=True), *_of("number"),
            *_text("site"), Field("size_fr", NUMBER), *_instants("connected_ms"),
            # A JSON list of other drains' numbers, as the episode file has them; None: it does not say.
            *_text("shares_unit_with", "shares_space_with"),
        ),
    ),
    # What this drain is for, and the rule that follows from it, pinned by the hash of its file.
    Noun("goal", (*_of("drain"), *_text("text", "protocol"))),
    Noun("protocol", (*_of("sha256"), Field("name", needed=True), *_text("edition", "status", "approved_by"))),
    Noun("approval", (*_of("protocol", "person"), *_text("role", "words"))),
    # The suction unit, and when it served which drain.
    Noun("unit", (*_of("serial"), *_text("layout", "kind", "battery_lot"),
                  *_instants("bought_ms", "battery_from_ms", "service_due_ms", "safety_test_due_ms"),
                  *_counts("must_run_min"),  # from full, or its battery counts as spent: the hospital's own number
                  Field("registered", FLAG))),  # somebody entered it; not only a log, a form or a course that named it
    # A lot that must no longer be used, of canisters, filters or batteries.
    Noun("recall", (*_of("what", "lot"), Field("reason", needed=True), *_instants("from_ms", "closed_ms"))),
    # What a unit told by its own signal, looked back on: when, who came, what it was and what helped.
    Noun("unit_call", (*_of("drain"), Field("unit", fixed=True), Field("kind", needed=True),
                       Field("from_ms", INSTANT, needed=True), *_instants("attended_ms", "until_ms"),
                       *_text("attended_by", "cause", "action"))),
    # A way off the ward or along it on battery: planned, and whether suction was back after it.
    Noun("trip", (*_of("drain"), Field("from_ms", INSTANT, needed=True), Field("destination", needed=True),
                  *_text("fallback"), *_counts("planned_min"), Field("charge_percent", NUMBER),
                  *_instants("back_ms"), *_text("charge", "because", "note"))),
    # Home with the drain in: from, until, and whom to call.
    Noun("home", (*_of("drain"), Field("from_ms", INSTANT, needed=True), *_instants("to_ms", "visit_ms"),
                  *_text("contact", "eligible", "protocol"))),
    Noun(
        "pairing",
        (
            *_of("patient", "drain", "unit"), Field("from_ms", INSTANT, needed=True), *_instants("to_ms"),
            *_text("checked_by", "arrived_with"),
            Field("from_log", FLAG),  # nobody entered it: a log shows it, and a longer log lengthens it
        ),
    ),
    Noun(
        "order",
        (
            *_of("drain", "kind"), *_text("level", "unit"), Field("from_ms", INSTANT, needed=True),
            *_instants("until_ms", "review_ms"), *_counts("may_be_off_min"), *_text("reason"),
        ),
    ),
    # One cell-for-cell row of the chart. `drain` is the number as written; None: it names none. `source`: the file it
    # stands in; `message`: what brought it, when that became so, when it was sent, and its own id.
    Noun(
        "entry",
        (
            *_of("episode"), Field("drain", fixed=True), Field("item", needed=True), *_text("value", "unit", "note"),
            Field("time_ms", INSTANT, needed=True), *_instants("written_ms"), *_text("written_by", "source"),
            *_counts("line"), *_text("message"),
        ),
    ),
    Noun(
        "log",
        (
            *_of("drain", "sha256", "layout"), Field("name", needed=True), *_text("serials"),
            *_instants("first_ms", "last_ms"), *_counts("rows_read", "rows_used", "rows_refused"),
            *_text("arrived_with"),
        ),
    ),
    # What was worked out of the logs and kept as Parquet: WORDS has the kinds. It can be made again.
    Noun("table", (*_of("drain", "kind"), Field("sha256", needed=True), *_text("made_from", "program"))),
    Noun("hold", (*_of("drain"), Field("reason", needed=True), Field("from_ms", INSTANT, needed=True),
                  *_instants("to_ms"), *_text("note"))),
    Noun("task", (*_of("drain"), Field("what", needed=True), *_instants("due_ms", "done_ms"),
                  *_text("done_by", "result"))),
    Noun(
        "removal",
        (
            *_of("drain"), Field("kind", needed=True), Field("time_ms", INSTANT, needed=True),
            *_text("removed_by", "second_person", "breath_phase"), *_instants("analgesia_ms"),
            Field("tip_intact", FLAG), *_instants("suture_out_ms"),
            *_text("overall", "protocol", "against_rule_because"),
        ),
    ),
    Noun("check", (*_of("drain"), Field("what", needed=True), *_instants("due_ms", "done_ms"),
                   *_text("done_by", "result"))),
    # A unit's life between patients, the set-up that was checked, and the canister with its lots.
    Noun("unit_state", (*_of("unit"), Field("state", needed=True), *_text("method", "note", "at_place"))),
    Noun("setup", (*_of("drain", "unit"), Field("checked", needed=True), *_text("second_person", "note"))),
    Noun("canister", (*_of("drain"), Field("from_ms", INSTANT, needed=True), *_text("lot", "filter_lot"),
                      *_instants("expires_ms"), Field("size_ml", NUMBER))),
    # What a person decided where the rule says otherwise, and the unit's own words for the first two minutes.
    Noun("decision", (*_of("drain"), Field("what", needed=True), Field("because", needed=True),
                      *_text("overall", "protocol"))),
    Noun("card", (*_of("name"), Field("title", needed=True), Field("text", needed=True), *_text("approved_by"))),
    # Who looked at what. Pages that refresh by themselves are no look.
    Noun("look", (*_of("person"), Field("what", needed=True), Field("drain", fixed=True))),
    # One answer of one learner to one draw of an exercise, at which of its moments; confidence in percent. sha256: of
    # the exercise's file as it was asked.
    Noun("lesson", (*_of("person", "exercise"), Field("draw", COUNT, needed=True, fixed=True), *_counts("moment"),
                    Field("answer", needed=True), Field("truth", needed=True), Field("right", FLAG, needed=True),
                    Field("confidence", NUMBER, needed=True), Field("time_ms", INSTANT, needed=True),
                    *_text("sha256"))),
    # What lets a unit send: the hash of its key. And a file with the rows of its messages up to one act.
    Noun("unit_key", (*_of("unit"), Field("hash", needed=True))),
    Noun("sealed", (*_of("unit", "sha256"), Field("declared", needed=True), Field("until_seq", COUNT, needed=True),
                    Field("first_ms", INSTANT, needed=True), Field("last_ms", INSTANT, needed=True),
                    Field("rows", COUNT, needed=True), *_text("states"))),
    # A number under which a unit sent more than one reading: none of them has a value.
    Noun("disputed", (*_of("unit"), Field("sequence", COUNT, needed=True))),
    # What a unit sent by itself; its own sequence number makes it the same message however often it comes.
    Noun("message", (*_of("unit"), Field("sequence", COUNT, needed=True, fixed=True), Field("body", needed=True))),
)  # fmt: skip

NOUNS: dict[str, Noun] = {noun.name: noun for noun in _ALL}

ROLES = ("nurse", "specialist_nurse", "physiotherapist", "registrar", "surgeon", "engineer", "audit_lead", "keeper")
HOLD_REASONS = (
    "awaiting_pleurodesis", "ventilated", "another_drain_planned", "anticoagulation", "awaiting_imaging",
    "awaiting_theatre", "awaiting_staff", "patient_wish", "clinical_concern", "other",
)  # fmt: skip
REMOVAL_KINDS = ("planned", "unplanned", "in_theatre", "exchanged", "patient_died", "transferred")
BREATH_PHASES = ("end_inspiration", "end_expiration", "valsalva", "ventilated")
ORDER_KINDS = ("suction", "clamp_trial", "removal", "imaging", "transfer")
UNIT_STATES = ("in_use", "dirty", "cleaned", "tested", "ready", "faulty", "in_service", "lost")
CALL_KINDS = (
    "suction_not_reached", "line_blocked", "large_leak", "container_full", "tilted", "low_battery", "internal_fault",
    "other",
)  # fmt: skip
CARDS = ("came_apart", "fell_out", "distress")
RECALLED = ("battery", "canister", "filter")
CHECKS = ("chest_xray", "observations", "site", "dressing_down", "suture_out")

WORDS: dict[tuple[str, str], tuple[str, ...]] = {
    ("person", "role"): ROLES,
    ("hold", "reason"): HOLD_REASONS,
    ("removal", "kind"): REMOVAL_KINDS,
    ("removal", "breath_phase"): BREATH_PHASES,
    ("order", "kind"): ORDER_KINDS,
    ("check", "what"): CHECKS,
    ("unit_state", "state"): UNIT_STATES,
    ("recall", "what"): RECALLED,
    ("unit_call", "kind"): CALL_KINDS,
    ("card", "name"): CARDS,
    ("table", "kind"): ("minutes", "pyramid", "charge", "calls"),
    ("space", "kind"): ("pleural", "mediastinal", "pericardial"),
    ("space", "side"): ("left", "right", "midline"),
}
"""Closed lists; the same words as in an episode file where both have them."""
