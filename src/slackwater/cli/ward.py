"""`slackwater ward`: the ward's pages, served from this machine."""

from __future__ import annotations

import sys

import click

from slackwater.cli.instants import ward_zone
from slackwater.cli.options import at_record
from slackwater.errors import MissingPart, UsageError


@click.command("ward")
@at_record
@click.option("--zone", metavar="ZONE", default="UTC", show_default=True, help="The ward's clock.")
@click.option(
    "--host", default="127.0.0.1", show_default=True, help="Another address only behind a proxy that speaks TLS."
)
@click.option("--port", type=click.IntRange(1, 65535), default=8410, show_default=True)
@click.option("--idle", "idle_min", type=click.IntRange(1, 60), default=5, show_default=True,
              help="Minutes until an untouched screen locks.")  # fmt: skip
@click.option("--judges", type=click.IntRange(1, 64), default=1, show_default=True,
              help="Processes that work out answers.")  # fmt: skip
@click.option(
    "--behind-tls", is_flag=True, help="A proxy in front speaks TLS: needed for any address but this machine's."
)
def command(place: str | None, zone: str, host: str, port: int, idle_min: int, judges: int, behind_tls: bool) -> None:
    """Serve the ward's pages over the record.

    The first start prints a code with which the first person is entered; there is no default password. It listens
    on this machine alone unless told otherwise.

    \b
    Example:
      slackwater ward --zone Europe/Vienna
    """
    local = host in ("127.0.0.1", "::1", "localhost")
    if not local and not behind_tls:
        raise UsageError(
            f"--host {host} would send health data in the clear",
            mend="Put a proxy that speaks TLS in front and add --behind-tls: docs/operating.md.",
        )
    try:
        import uvicorn

        from slackwater.web.app import create_app
    except ImportError:
        raise MissingPart(
            "the ward's pages need the extra 'ward'", mend="Install it: pip install 'slackwater[ward]'."
        ) from None
    from slackwater.store.place import place_of
    from slackwater.web.settings import Settings

    settings = Settings(place_of(place), ward_zone(zone), zone, idle_s=60 * idle_min, secure=behind_tls, judges=judges)
    app = create_app(settings)
    click.echo(f"the ward's pages: http://{host}:{port}", err=True)
    if app.state.first_start.open:
        click.echo(f"first start: enter this code on the page: {app.state.first_start.code}", err=True)
    sys.stderr.flush()
    uvicorn.run(app, host=host, port=port, log_level="warning", server_header=False, proxy_headers=behind_tls)
