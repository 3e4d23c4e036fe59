"""`slackwater ward`: the ward's pages, served from this machine."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from slackwater.cli.instants import ward_zone
from slackwater.cli.options import at_record
from slackwater.cli.resident import settle_in
from slackwater.errors import MissingPart, UsageError

if TYPE_CHECKING:
    from slackwater.web.settings import Hospital


def by_hospital(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options of the hospital's own log-in; each may come from the environment."""
    for option in (
        click.option("--oidc-claim", envvar="SLACKWATER_OIDC_CLAIM", default="sub", show_default=True,
                     help="What of the token is the login here."),
        click.option("--oidc-secret", envvar="SLACKWATER_OIDC_SECRET", metavar="FILE",
                     type=click.Path(exists=True, dir_okay=False), help="File with its secret there, if any."),
        click.option("--oidc-client", envvar="SLACKWATER_OIDC_CLIENT", metavar="ID", help="What it calls this server."),
        click.option("--oidc-issuer", envvar="SLACKWATER_OIDC_ISSUER", metavar="URL",
                     help="The hospital's own log-in (OpenID Connect)."),
    ):  # fmt: skip
        command = option(command)
    return command


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
@click.option("--practice", "practice_path", metavar="FILE", help="Your unit's [practice]: docs/practice.md.")
@by_hospital
def command(
    place: str | None, zone: str, host: str, port: int, idle_min: int, judges: int, behind_tls: bool,
    practice_path: str | None, **given: str | None,
) -> None:  # fmt: skip
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
    from slackwater.teach.practice import load_practice
    from slackwater.web.settings import Settings

    settings = Settings(
        place_of(place), ward_zone(zone), zone, idle_s=60 * idle_min, secure=behind_tls, judges=judges,
        hospital=_hospital(**given), practice=None if practice_path is None else load_practice(practice_path),
    )  # fmt: skip
    app = create_app(settings)
    click.echo(f"the ward's pages: http://{host}:{port}", err=True)
    if app.state.first_start.open:
        click.echo(f"first start: enter this code on the page: {app.state.first_start.code}", err=True)
    sys.stderr.flush()
    settle_in()
    uvicorn.run(app, host=host, port=port, log_level="warning", server_header=False, proxy_headers=behind_tls)


def _hospital(
    oidc_issuer: str | None, oidc_client: str | None, oidc_secret: str | None, oidc_claim: str | None
) -> Hospital | None:
    """The hospital's own log-in, if it was given. MissingPart without the extra `oidc`."""
    if not oidc_issuer and not oidc_client and not oidc_secret:
        return None
    if not oidc_issuer or not oidc_client:
        raise UsageError(
            "the hospital's log-in needs both --oidc-issuer and --oidc-client", mend="Give the other, too."
        )
    try:
        import slackwater.web.hospital  # noqa: F401
    except ImportError:
        raise MissingPart(
            "the hospital's log-in needs the extra 'oidc'", mend="Install it: pip install 'slackwater[oidc]'."
        ) from None
    from slackwater.web.settings import Hospital

    secret = Path(oidc_secret).read_text("utf-8").strip() if oidc_secret else ""
    return Hospital(oidc_issuer, oidc_client, secret, oidc_claim or "sub")
