"""Read a rule file: strict TOML with a closed set of keys; every fault names clause, key and mend."""

from __future__ import annotations

import difflib
import hashlib
import re
import tomllib
from collections.abc import Mapping
from typing import Any

from slackwater.errors import ProtocolError, QuantityError, refuse_packed
from slackwater.protocol.facts import SCOPES
from slackwater.protocol.load_bedside import load_schedule, load_suction, load_trip
from slackwater.protocol.measures import EVENTS, MEASURES, WAYS_OPEN, Measure
from slackwater.protocol.population import EXCLUDABLE
from slackwater.protocol.rule import NUMERIC, WORDY, Applies, Clause, EffortSeen, Protocol, TubeOpen
from slackwater.protocol.table import Table
from slackwater.quantities.units import parse_quantity

STATUSES = ("example", "draft", "approved", "retired")
RESTARTS = ("suction_change", "clamp_trial", "reconnection", "unit_exchange", "tube_flushed")
_TOP = ("name", "version", "status", "approved_by", "source", "notes", "applies", "evidence", "guards",
        "removal", "step_down", "home", "escalation", "schedule", "suction", "trip")  # fmt: skip
_APPLIES = ("indication", "space", "min_age_years", "max_age_years", "excludes", "needs")
_NEEDS = ("operation.end", "operation.kind", "drain.connected_at", "drain.space", "patient.weight_kg",
          "patient.age_years", "breathing", "indication")  # fmt: skip
_EVIDENCE = ("data_age", "gaps", "restart_on", "means")
_CLAUSE = ("id", "measure", "scope", "is", "limit", "bin", "lasting", "within", "per", "after", "of",
           "only_until", "data_age", "source", "say")  # fmt: skip
_SPACES = ("pleural", "mediastinal", "pericardial")
LARGEST = 1e9  # larger limits would only overflow the whole numbers that windows are summed in


def load_protocol(data: bytes, name: str) -> Protocol:
    """Read a rule from the bytes of its file; `name` is what errors call it.

    Raises ProtocolError naming the file, the clause, the key and the mend.
    """
    refuse_packed(data, name, ProtocolError)
    try:
        content = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise ProtocolError(f"byte {error.start} is not UTF-8", where=name, mend="Save the file as UTF-8.") from None
    except tomllib.TOMLDecodeError as error:
        raise ProtocolError(f"not valid TOML: {error}", where=name, mend="Mend the line named.") from None
    except RecursionError:
        raise ProtocolError("is nested too deeply", where=name, mend="A rule needs three levels at most.") from None

    top = Table(content, name, _TOP)
    waived = content.get("guards") == "none"
    removal = _clauses(content, "removal", name)
    step_down = _clauses(content, "step_down", name)
    home = _clauses(content, "home", name)
    escalation = _clauses(content, "escalation", name)
    if not (removal or step_down or home or escalation):
        raise ProtocolError(
            "holds no clause", where=name, mend="Write at least one [[removal]], [[step_down]] or [[escalation]]."
        )
    tube, effort = (None, None) if waived or "guards" not in content else _guards(content["guards"], name)
    if removal and not waived and (tube is None or effort is None):
        lacking = " and ".join(k for k, v in (("tube_open", tube), ("effort_seen", effort)) if v is None)
        raise ProtocolError(
            f"guards: {lacking} missing: a removal rule needs both guards",
            where=name,
            mend='Write [guards] with tube_open and effort_seen, or say guards = "none" aloud.',
        )
    evidence = Table(content.get("evidence", {}), f"{name}, evidence", _EVIDENCE)
    if not isinstance(content.get("evidence"), Mapping):
        raise ProtocolError("evidence: is missing", where=name, mend='Write [evidence] with data_age = "1 h" and gaps.')
    data_age = evidence.span("data_age", needed=True)
    gaps = evidence.span("gaps", needed=True, positive=False)
    assert data_age is not None and gaps is not None
    if gaps % 60:
        raise evidence.fault("gaps", "must be whole minutes", 'Write e.g. "0 min" or "10 min".')
    if not top.text("name").strip():
        raise top.fault("name", "is empty", 'Write name = "our-rule".')
    status = top.text("status", choices=STATUSES)
    approved_by = top.text("approved_by", "")
    if status == "approved" and not approved_by.strip():
        raise top.fault("approved_by", "is empty though the status is approved", "Write the role and the date.")
    return Protocol(
        name=top.text("name"),
        version=top.text("version"),
        status=status,
        approved_by=approved_by,
        source=top.text("source", ""),
        sha256=hashlib.sha256(data).hexdigest(),
        applies=_applies(content.get("applies", {}), name),
        data_age_s=data_age,
        gaps_s=gaps,
        restart_on=evidence.texts("restart_on", RESTARTS),
        coarse_means=evidence.text("means", "refused", ("refused", "allowed")) == "allowed",
        tube_open=tube,
        effort_seen=effort,
        guards_waived=waived,
        removal=removal,
        step_down=step_down,
        home=home,
        escalation=escalation,
        schedule=load_schedule(content, name),
        suction=load_suction(content["suction"], name) if "suction" in content else None,
        trip=load_trip(content["trip"], name) if "trip" in content else None,
        notes=top.text("notes", ""),
        file_name=name,
    )


def _applies(content: Any, name: str) -> Applies:
    table = Table(content, f"{name}, applies", _APPLIES)
    youngest, oldest = table.number("min_age_years"), table.number("max_age_years")
    if youngest is not None and oldest is not None and youngest > oldest:
        raise table.fault("min_age_years", "is above max_age_years: the rule would be for nobody", "Swap the two.")
    for word in table.texts("excludes"):
        near = difflib.get_close_matches(word, EXCLUDABLE, n=1, cutoff=0.8)
        if word not in EXCLUDABLE and near:  # a slip here would exclude nobody
            raise table.fault("excludes", f"{word!r} is near a known word, but not it", f"Did you mean {near[0]!r}?")
    return Applies(
        indication=table.texts("indication"),
        spaces=table.texts("space", _SPACES),
        min_age_years=youngest,
        max_age_years=oldest,
        excludes=table.texts("excludes"),
        needs=table.texts("needs", _NEEDS),
    )


def _guards(content: Any, name: str) -> tuple[TubeOpen | None, EffortSeen | None]:
    table = Table(content, f"{name}, guards", ("tube_open", "effort_seen"))
    tube = effort = None
    if "tube_open" in table.content:
        inner = Table(table.content["tube_open"], f"{name}, guards.tube_open", ("within", "also_at", "by"))
        within = inner.span("within", needed=True)
        by = inner.texts("by", WAYS_OPEN)
        if not by:
            raise inner.fault("by", "names no way of showing it", 'Write by = ["swing", "air", "charted"].')
        assert within is not None
        tube = TubeOpen(within, "start" in inner.texts("also_at", ("start",)), by)
    if "effort_seen" in table.content:
        inner = Table(table.content["effort_seen"], f"{name}, guards.effort_seen", ("within",))
        within = inner.span("within", needed=True)
        assert within is not None
        effort = EffortSeen(within)
    return tube, effort


def _clauses(content: Mapping[str, Any], block: str, name: str) -> tuple[Clause, ...]:
    listed = content.get(block, [])
    if not isinstance(listed, list):
        raise ProtocolError(f"{block}: must be a list of tables", where=name, mend=f"Write [[{block}]].")
    clauses = []
    for number, table in enumerate(listed, start=1):
        label = table.get("id", f"number {number}") if isinstance(table, Mapping) else f"number {number}"
        clauses.append(_clause(table, block, f"{name}, {block} {label}"))
    ids = [clause.id for clause in clauses]
    for id_ in ids:
        if ids.count(id_) > 1:
            raise ProtocolError(
                f"id {id_!r} stands twice", where=f"{name}, {block}", mend="Give each clause its own id."
            )
    return tuple(clauses)


def _clause(content: Any, block: str, where: str) -> Clause:
    table = Table(content, where, _CLAUSE)
    id_ = table.text("id")
    if not re.fullmatch(r"[a-z0-9][a-z0-9_-]*", id_):
        raise table.fault("id", f"{id_!r} is not a plain word", "Use small letters, digits, '-' and '_'.")
    measure_name = table.text("measure")
    if measure_name not in MEASURES:
        near = difflib.get_close_matches(measure_name, MEASURES, n=1)
        hint = f"Did you mean {near[0]!r}? " if near else ""
        raise table.fault("measure", f"{measure_name!r} is not known", f"{hint}See `slackwater protocol measures`.")
    measure = MEASURES[measure_name]
    how = table.text("is", choices=NUMERIC + WORDY)
    per_kg = table.text("per", "", ("", "kg")) == "kg"
    bin_s = table.span("bin")
    lasting = table.span("lasting")
    within = table.span("within")
    clause = Clause(
        id=id_,
        measure_name=measure_name,
        scope=table.text("scope", measure.scope, SCOPES),
        comparison=how,
        limit=_limit(table, measure, how, per_kg),
        limit_text=table.text("limit") if how in NUMERIC else ", ".join(_words(table, measure, how)),
        words=_words(table, measure, how),
        bin_min=None if bin_s is None else round(bin_s / 60),
        lasting_s=lasting,
        within_s=within,
        per_kg=per_kg,
        after=table.text("after", choices=EVENTS) if "after" in table.content else None,
        of=table.text("of", choices=EVENTS) if "of" in table.content else None,
        only_until=_only_until(table),
        data_age_s=table.span("data_age"),
        source=table.text("source", ""),
        say=table.text("say", ""),
    )
    _check_shape(table, clause, bin_s, block)
    return clause


def _limit(table: Table, measure: Measure, how: str, per_kg: bool) -> float | None:
    if how in WORDY:
        return None
    if not measure.dimension:
        raise table.fault("is", f"{how!r} needs a number, but {measure.name} is a word", "Write one_of or none_of.")
    text = table.text("limit")
    if "/kg" in text and not per_kg:
        raise table.fault("limit", f"{text!r} counts per kg", 'Write per = "kg" beside it, or a limit without kg.')
    try:
        dimension = f"{measure.dimension} per mass" if per_kg and "kg" in text else measure.dimension
        limit = float(parse_quantity(text, dimension).value)
    except QuantityError as error:
        raise table.fault("limit", error.what, error.mend) from None
    if limit < 0:
        raise table.fault("limit", f"{text!r} is below zero, and no measure can be", "Write it without the minus sign.")
    if abs(limit) > LARGEST:
        raise table.fault("limit", f"{text!r} is beyond anything measured", "Look at the number and its unit.")
    return limit


def _words(table: Table, measure: Measure, how: str) -> tuple[str, ...]:
    if how in NUMERIC:
        return ()
    if how == "shown":
        if not measure.shown:
            raise table.fault("is", f"'shown' says nothing of {measure.name}", "Use a comparison, one_of or none_of.")
        if "limit" in table.content:
            raise table.fault("limit", "has no meaning with is = 'shown'", "Leave it out.")
        return measure.shown
    if not measure.words:
        raise table.fault(
            "is", f"{how!r} needs words, but {measure.name} is a number", f"Write one of: {', '.join(NUMERIC)}."
        )
    words = table.texts("limit", measure.words)
    if not words:
        raise table.fault("limit", "names no word", f'Write e.g. limit = ["{measure.words[0]}"].')
    return words


def _only_until(table: Table) -> tuple[str, float] | None:
    if "only_until" not in table.content:
        return None
    inner = Table(table.content["only_until"], f"{table.where}, only_until", ("event", "plus"))
    plus = inner.span("plus", needed=True)
    assert plus is not None
    return inner.text("event", choices=EVENTS), plus


def _check_shape(table: Table, clause: Clause, bin_s: float | None, block: str) -> None:
    kind = clause.measure.kind
    if bin_s is not None and (kind != "signal" or bin_s % 60):
        raise table.fault("bin", "must be whole minutes of a signal", 'Write e.g. bin = "10 min", or leave it out.')
    if clause.lasting_s is not None and clause.lasting_s % 60:
        raise table.fault("lasting", "must be whole minutes", 'Write e.g. "8 h".')
    if bin_s is not None and clause.lasting_s is not None and bin_s > clause.lasting_s:
        raise table.fault("bin", "is longer than lasting, so no window would fit", "Write a shorter bin.")
    if kind == "signal" and (clause.lasting_s is None) == (clause.within_s is None):
        raise table.fault(
            "lasting", f"{clause.measure_name} needs lasting or within, one of them", 'Write lasting = "8 h".'
        )
    if kind == "amount" and clause.within_s is None:
        raise table.fault(
            "within", f"{clause.measure_name} needs the window it is summed over", 'Write within = "24 h".'
        )
    if kind == "amount" and clause.lasting_s is not None and clause.lasting_s % (clause.within_s or 1):
        raise table.fault(
            "lasting", "must be a whole number of `within` windows", 'Write e.g. within = "1 h", lasting = "2 h".'
        )
    if kind in ("number", "word") and clause.lasting_s is not None:
        raise table.fault("lasting", f"{clause.measure_name} is charted at moments", 'Write within = "8 h".')
    if kind == "since" and clause.of is None:
        raise table.fault("of", "names the event the time is counted from", f"Write one of: {', '.join(EVENTS)}.")
    if clause.of is not None and kind != "since":
        raise table.fault("of", f"has no meaning for {clause.measure_name}", "Leave it out.")
    if clause.per_kg and kind != "amount":
        raise table.fault("per", "only amounts are counted per kg", "Leave it out.")
    if clause.say and block != "escalation":
        raise table.fault("say", "belongs to an escalation clause", "Leave it out.")
    if kind == "span" and block != "escalation":
        raise table.fault("measure", f"{clause.measure_name} serves escalation only", "Put it under [[escalation]].")
