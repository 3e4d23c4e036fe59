"""`slackwater listen`: take what units send by themselves, by HTTP, MQTT and MLLP."""

from __future__ import annotations

import asyncio
import json
import re
from datetime import UTC, datetime
from pathlib import Path

import click

from slackwater.cli.options import at_record, logged_in
from slackwater.cli.resident import settle_in
from slackwater.errors import MissingPart, UsageError

LOCAL = ("127.0.0.1", "::1", "localhost")
SILENT = "Silence on the line is told as a gap: nobody is called."


@click.group("listen", invoke_without_command=True, subcommand_metavar="[COMMAND]")
@at_record
@click.option("--http", metavar="HOST:PORT", help="Take lines of JSON by POST /v1/readings.")
@click.option("--mqtt", metavar="URL", help="Take them from a broker: mqtt://[USER:PASSWORD@]HOST[:PORT], or mqtts://.")
@click.option("--topic", metavar="TOPIC", help="One topic a unit, + for its serial. [slackwater/units/+/readings]")
@click.option("--name", metavar="NAME", help="This listener's name at the broker; no two may share one.")
@click.option("--mllp", metavar="HOST:PORT", help="Take HL7 v2 results (ORU^R01).")
@click.option("--codes", metavar="FILE", type=click.Path(exists=True, dir_okay=False), help="Which HL7 code is what.")
@click.option("--allow", metavar="ADDRESS", multiple=True, help="Who may connect by MLLP; none given: who reaches it.")
@click.option(
    "--behind-tls", is_flag=True, help="A proxy in front speaks TLS: needed for any address but this machine's."
)
@click.pass_context
def command(
    ctx: click.Context, place: str | None, http: str | None, mqtt: str | None, topic: str | None, name: str | None,
    mllp: str | None, codes: str | None, allow: tuple[str, ...], behind_tls: bool,
) -> None:  # fmt: skip
    """Keep what units send by themselves; each message is acknowledged once it is on the disk, and kept once.

    A unit is known once it has a key or was paired with a drain. What it sends while it is paired is read as that
    drain's log. The ward's pages may run beside it, over the same record.

    \b
    Example:
      slackwater listen key SN-41
      slackwater listen --http 127.0.0.1:8420
      slackwater listen --mqtt mqtt://127.0.0.1
      slackwater listen units

    Silence on the line is told as a gap: nobody is called.
    """
    if ctx.invoked_subcommand is not None:
        ctx.obj = place
        return
    if not (http or mqtt or mllp):
        raise UsageError("nothing to listen to", where="listen", mend="Give --http, --mqtt or --mllp.")
    at_http, at_mllp = _address(http, "--http", behind_tls), _address(mllp, "--mllp", behind_tls)
    try:
        from slackwater.feed import serve as feed
        from slackwater.feed.hl7_codes import read_codes
        from slackwater.feed.mqtt import TOPIC, broker_of, check_topic
    except ImportError:
        raise MissingPart("live intake needs the extra 'feed'", mend="pip install 'slackwater[feed]'.") from None
    from slackwater.feed.tell import Teller
    from slackwater.store import open_record
    from slackwater.store.acts import key_of

    check_topic(topic or TOPIC)

    def say(text: str) -> None:
        click.echo(f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ} {text}", err=True)

    with open_record(place) as record:
        usual = f"slackwater-{key_of('listen', record.place.says)[:10]}"
        doors = feed.Doors(
            http=at_http, mllp=at_mllp, topic=topic or TOPIC, allowed=allow,
            broker=None if mqtt is None else broker_of(mqtt, name or usual),
            codes=None if codes is None else read_codes(Path(codes).read_bytes(), codes),
        )  # fmt: skip
        say(caution())
        settle_in()
        counts = asyncio.run(feed.serve(record, doors, Teller(say), say))
    say(", ".join(f"{count} {what}" for what, count in sorted(counts.items())) or "nothing came")


def _address(text: str | None, option: str, behind_tls: bool) -> tuple[str, int] | None:
    if text is None:
        return None
    match = re.fullmatch(r"(?:\[([0-9A-Fa-f:]+)\]|([^:\s\[\]]+)):([0-9]{1,5})", text)
    if match is None or int(match[3]) > 65535:
        raise UsageError(f"{text[:60]!r} is no address", where=option, mend="Write HOST:PORT, e.g. 127.0.0.1:8420.")
    host = match[1] or match[2]
    if host not in LOCAL and not behind_tls:
        raise UsageError(
            f"{host} would take health data in the clear", where=option,
            mend="Put a proxy that speaks TLS in front and add --behind-tls: docs/listen.md.",
        )  # fmt: skip
    return host, int(match[3])


@command.command("key")
@click.argument("serial")
@at_record
@click.option("--by", "who", metavar="WHO", help="Who makes it; else the user of this machine.")
@click.pass_context
def make(ctx: click.Context, serial: str, place: str | None, who: str | None) -> None:
    """Make the key with which unit SERIAL sends by HTTP; it is shown this once, and replaces any before.

    \b
    Example:
      slackwater listen key SN-41
    """
    try:
        from slackwater.feed.keys import make_key
        from slackwater.store import open_record
    except ImportError:
        raise MissingPart("live intake needs the extra 'feed'", mend="pip install 'slackwater[feed]'.") from None

    with open_record(place or ctx.obj) as record:
        click.echo(make_key(record, serial, by=who or logged_in()))
    click.echo(f"the key of {serial}: set it in the unit now, it is not shown again", err=True)


@command.command("units")
@at_record
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@click.pass_context
def units(ctx: click.Context, place: str | None, as_json: bool) -> None:
    """List the units, when each was last heard, and whom its readings belong to.

    \b
    Example:
      slackwater listen units
    """
    from slackwater.store import open_record
    from slackwater.store.heard import NOBODY, heard

    with open_record(place or ctx.obj) as record, record.reading() as connection:
        found = heard(connection)
    if as_json:
        told = [
            {"serial": one.serial, "last_reading": _stamp(one.reading_ms), "received": _stamp(one.received_ms),
             "drains": list(one.drains), "of_nobody": one.of_nobody}
            for one in found
        ]  # fmt: skip
        click.echo(json.dumps({"units": told}, indent=2))
        return
    for one in found:
        whose = NOBODY if one.of_nobody else ", ".join(one.drains)
        last = _stamp(one.reading_ms)
        click.echo(f"{one.serial}  {'nothing came yet' if last is None else f'last reading {last}'}  {whose}".rstrip())
    click.echo(caution(), err=True)


def caution() -> str:
    from slackwater.assessment.cautions import ABSENCE, NOT_AN_ALARM

    return f"{NOT_AN_ALARM.text} {ABSENCE.text} {SILENT}"


def _stamp(at_ms: int | None) -> str | None:
    return None if at_ms is None else f"{datetime.fromtimestamp(at_ms / 1000, UTC):%Y-%m-%dT%H:%M:%SZ}"
