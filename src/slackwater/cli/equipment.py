"""`slackwater equipment`: the register of suction units, recalls both ways, what to pull, and what runs short."""

from __future__ import annotations

import json
from pathlib import Path

import click

from slackwater.cli.equipment_suction import command as suction_command
from slackwater.cli.options import at_record, logged_in
from slackwater.errors import UsageError

_BY = click.option("--by", metavar="WHO", help="Who does it. Default: who is logged in.")
_ZONE = click.option("--zone", metavar="ZONE", help="The zone to show times in. Default: UTC.")
_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
# As printed, with a hyphen for a blank; a test holds them against the record's own list.
STEPS = ("dirty", "cleaned", "tested", "put-back", "faulty", "in-service", "lost")


class _Step(click.Choice[str]):
    """A step by its word, in whatever joint: put-back, "put back", put_back; and as the record spells it."""

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        joined = value.strip().lower().replace("_", "-").replace(" ", "-")
        said = super().convert("put-back" if joined == "ready" else joined, param, ctx)
        return "ready" if said == "put-back" else said.replace("-", "_")


@click.group("equipment", options_metavar="", subcommand_metavar="COMMAND")
def command() -> None:
    """Suction units: where each is and what it still needs, which lots are recalled, which batteries fade.

    \b
    Example, a recall in two commands:
      slackwater equipment recall battery B-1204 --reason "swells; maker's letter of 3 March"
      slackwater equipment list --to-pull

    It supports decisions; it does not decide. At a patient: exchange by the ward's own steps, the patient first.
    """


@command.command("list", short_help="List the units, or those to pull.")
@at_record
@click.option("--to-pull", "pull", is_flag=True, help="Only what somebody has to go to, worst first, and why.")
@_ZONE
@_JSON
def list_units(place: str | None, pull: bool, zone: str | None, as_json: bool) -> None:
    """List every unit: where it is, what it still needs, what is due. Exit 0.

    \b
    Example:
      slackwater equipment list --to-pull
    """
    from slackwater.cli.instants import ward_zone
    from slackwater.cli.view import equipment as view
    from slackwater.store import open_record
    from slackwater.store.charges import spent_batteries
    from slackwater.store.recalls import places, to_pull
    from slackwater.store.register import utilisation
    from slackwater.store.units import units_now

    ward = ward_zone(zone)
    with open_record(place) as record:
        now_ms = record.now_ms()
        where = places(record)
        if pull:
            found = to_pull(record, now_ms, spent_batteries(record, now_ms))
            told, lines = view.pulls_dict(found, where), view.pulls_text(found, where)
        else:
            units = units_now(record, now_ms)
            used = utilisation(record, now_ms)
            told, lines = view.units_dict(units, where, used, now_ms), view.units_text(units, where, used, now_ms, ward)
    click.echo(json.dumps(told, ensure_ascii=False, indent=2) if as_json else lines)


@command.command("recall", short_help="Open a recall of a lot, or say that it is over.")
@click.argument("what", type=click.Choice(("battery", "canister", "filter")))
@click.argument("lot", metavar="LOT")
@click.option("--reason", metavar="WHY", default="", help="Why it must no longer be used.")
@click.option("--over", metavar="WHY", default="", help="The recall is over: why.")
@click.option("--anyway", is_flag=True, help="Recall it though nothing recorded carries it.")
@at_record
@_BY
def recall(what: str, lot: str, reason: str, over: str, anyway: bool, place: str | None, by: str | None) -> None:
    """Recall a lot: from now on no unit with it is for the next patient. A lot that nothing recorded carries is asked
    back: it may be mistyped.

    \b
    Example:
      slackwater equipment recall battery B-1204 --reason "swells; maker's letter of 3 March"
    """
    from slackwater.store import open_record
    from slackwater.store.recalls import LOT_NOT_RECORDED, close_recall, may_be_mistyped, meets_nothing, to_pull, uses
    from slackwater.store.recalls import recall as open_recall

    if bool(reason.strip()) == bool(over.strip()):
        raise UsageError("why is missing, or said twice", mend="Give --reason 'WHY', or --over 'WHY' to end it.")
    who = by or logged_in()
    with open_record(place) as record:
        if over.strip():
            close_recall(record, what, lot, over, by=who)
            click.echo(f"{what} lot {lot}: the recall is over")
            return
        asked_back = "" if anyway else may_be_mistyped(record, what, lot)
        if asked_back:
            raise UsageError(asked_back, mend="Read the lot again. To recall it all the same, add --anyway.")
        key = open_recall(record, what, lot, reason, by=who)
        now = record.thing("recall", key)
        lot = lot.strip() if now is None else now["lot"]
        met = [one for one in uses(record, lot=lot) if one.what == what]
        nowhere = meets_nothing(record, what, lot)
        every = to_pull(record, record.now_ms())
        pull = [one for one in every if any(w.startswith(f"{what} lot {lot} is recalled") for w in one.why)]
        look = sum(any(w.startswith(LOT_NOT_RECORDED) for w in one.why) for one in every) if what == "battery" else 0
    at_patients = sum(one.drain is not None for one in pull)
    click.echo(
        f"{what} lot {lot} is recalled. To pull: {len(pull)}, {at_patients} of them at a patient. It was at "
        f"{len({one.drain for one in met})} drains in all."
    )
    if nowhere:
        click.echo(f"{nowhere}. Read the lot again; that it was not written down is not that it was not used.")
    if look:
        click.echo(f"{LOT_NOT_RECORDED} of {look} units: look at each.")
    click.echo("See: slackwater equipment list --to-pull")


@command.command("trace", short_help="Where a lot was, or which lots a drain had.")
@click.argument("lot", metavar="LOT", required=False)
@click.option("--drain", metavar="DRAIN", help="PATIENT/NUMBER: which lots it had.")
@at_record
@_ZONE
@_JSON
def trace(lot: str | None, drain: str | None, place: str | None, zone: str | None, as_json: bool) -> None:
    """Trace a lot to its drains, or a drain to its lots; canisters, filters and batteries.

    \b
    Example:
      slackwater equipment trace C-77
      slackwater equipment trace --drain SIM-0001/1
    """
    from slackwater.cli.instants import ward_zone
    from slackwater.cli.view import equipment as view
    from slackwater.store import open_record
    from slackwater.store.course import find_drain
    from slackwater.store.recalls import places, uses

    if (lot is None) == (drain is None):
        raise UsageError("a lot or a drain is to be traced", mend="Give LOT, or --drain PATIENT/NUMBER.")
    with open_record(place) as record:
        key = None
        if drain is not None:
            with record.reading() as connection:
                key = find_drain(connection, drain)
        found = uses(record, drain=key, lot=None if lot is None else lot.strip())
        found = tuple(one for one in found if key is None or one.drain == key)
        where, serials = places(record), {one.key: one["serial"] for one in record.things("unit")}
    told = view.uses_dict(found, where, serials)
    text = view.uses_text(found, where, serials, ward_zone(zone), drain or lot or "")
    click.echo(json.dumps(told, ensure_ascii=False, indent=2) if as_json else text)


@command.command("register", short_help="Take a register of units in (CSV), or write it out.")
@click.argument("path", metavar="FILE.csv", required=False)
@click.option("--out", metavar="FILE.csv", help="Write the register there; - is standard output.")
@at_record
@_BY
def register(path: str | None, out: str | None, place: str | None, by: str | None) -> None:
    """Take the register of units in, or write it out; out and in again changes nothing.

    One line that cannot be taken, and nothing is recorded: each such line is told with its mend.

    \b
    Example:
      slackwater equipment register --out units.csv
      slackwater equipment register units.csv
    """
    from slackwater.cli.files import LARGEST_TEXT, name_of, read_bytes, write_whole
    from slackwater.store import open_record
    from slackwater.store.register import take_register, written

    if (path is None) == (out is None):
        raise UsageError("in or out is not said", mend="Give FILE.csv to take it in, or --out FILE.csv.")
    if out is not None:
        with open_record(place) as record:
            text = written(record.things("unit"))
        if out == "-":
            click.echo(text, nl=False)
        else:
            write_whole(out, text.encode())
            click.echo(f"wrote {text.count(chr(10)) - 1} units to {out}")
        return
    assert path is not None
    if path != "-" and not Path(path).exists():
        raise UsageError("is no file", where=path, mend="Check the name.")
    try:
        text = read_bytes(path, LARGEST_TEXT).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UsageError(f"byte {error.start} is not UTF-8", where=name_of(path), mend="Save it as UTF-8.") from None
    with open_record(place, create=True) as record:
        new, changed, refused = take_register(record, text, by=by or logged_in(), why=f"register {name_of(path)}")
    for one in refused[:50]:
        click.echo(f"slackwater: {name_of(path)}, {one}", err=True)
    if refused:
        more = f" ({len(refused) - 50} more)" if len(refused) > 50 else ""
        many = "1 fault" if len(refused) == 1 else f"{len(refused)} faults"
        raise UsageError(f"{many}{more}: nothing was recorded", where=name_of(path))
    click.echo(f"{new} new, {changed} changed" if new or changed else "nothing new")


@command.command("step", short_help="Record a step of a unit's life.")
@click.argument("serial", metavar="SERIAL")
@click.argument("state", metavar="STEP", type=_Step(STEPS))
@click.option("--how", metavar="TEXT", default="", help="How it was cleaned; what was tested, with the result.")
@click.option("--note", metavar="TEXT", default="")
@click.option("--at-place", metavar="TEXT", default="", help="Where it is.")
@at_record
@_BY
def step(serial: str, state: str, how: str, note: str, at_place: str, place: str | None, by: str | None) -> None:
    """Record what was done to a unit between patients; a step that is not its turn is refused.

    \b
    STEP: cleaned, tested, put-back (for the next patient), in this order; or dirty, faulty, in-service, lost.

    \b
    Example:
      slackwater equipment step SN-7 cleaned --how "wiped, by the local list"
    """
    from secrets import token_urlsafe

    from slackwater.store import open_record
    from slackwater.store.acts import key_of
    from slackwater.store.units import set_state, state_words, units_now

    with open_record(place) as record:
        if record.thing("unit", key_of("unit", serial)) is None:
            raise UsageError("there is no such unit", where=serial, mend="See: slackwater equipment list.")
        set_state(
            record, key_of("unit", serial), state, by=by or logged_in(), method=how.strip() or None,
            note=note.strip() or None, place=at_place.strip() or None, once=token_urlsafe(12),
        )  # fmt: skip
        (now,) = (one for one in units_now(record, record.now_ms()) if one.serial == serial)
    click.echo(
        f"{serial}: {now.stands}" + (f"; still needs: {', '.join(map(state_words, now.needs))}" if now.needs else "")
    )


@command.command("shortage", short_help="How likely the shelf runs out in the next days.")
@click.option("--days", type=click.IntRange(1, 60), default=7, show_default=True)
@at_record
@_JSON
def shortage(days: int, place: str | None, as_json: bool) -> None:
    """How likely somebody needs one unit more than there are, within so many days; from this fleet's own past.

    Exit 3 where nobody can tell.

    \b
    Example:
      slackwater equipment shortage --days 7
    """
    from dataclasses import asdict

    from slackwater.cli.view import equipment as view
    from slackwater.equipment.shortage import shortage as foretell
    from slackwater.equipment.shortage import why_no_forecast
    from slackwater.store import open_record
    from slackwater.store.register import demand, fleet_use, utilisation

    with open_record(place) as record:
        now_ms = record.now_ms()
        past, used = demand(record, now_ms), fleet_use(utilisation(record, now_ms))
    why = why_no_forecast(past)
    found = None if why is not None else foretell(past, days)
    if as_json:
        told = {"cannot_tell": why, "shortage": None if found is None else asdict(found), "share_in_use": used.share}
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
    else:
        click.echo(view.shortage_text(past, used, found, why))
    if why is not None:
        click.get_current_context().exit(3)


command.add_command(suction_command)


@command.command("charge", short_help="How long each battery runs, from its own discharges.")
@at_record
@_ZONE
@_JSON
def charge(place: str | None, zone: str | None, as_json: bool) -> None:
    """How long each unit runs from full, the shortest first, with a 90 % interval; and how it fades, if it can be told.

    From the battery and mains columns of recorded logs. Exit 3 where nobody can tell of any unit.

    \b
    Example:
      slackwater equipment charge
    """
    from slackwater.cli.instants import ward_zone
    from slackwater.cli.view import equipment as view
    from slackwater.store import open_record
    from slackwater.store.charges import NOTHING, batteries

    with open_record(place) as record:
        now_ms = record.now_ms()
        known = batteries(record, now_ms)
        found = [(one, known.get(one.key, NOTHING)) for one in record.things("unit")]
    told = view.charges_dict(found, now_ms)
    text = view.charges_text(found, now_ms, ward_zone(zone))
    click.echo(json.dumps(told, ensure_ascii=False, indent=2) if as_json else text)
    if all(one["minutes_from_full"] is None for one in told["batteries"]):
        click.get_current_context().exit(3)
