"""The `slackwater` command. Sub-commands load only when they are called, so that help stays quick."""

from __future__ import annotations

import os
import sys
from importlib import import_module

import click

from slackwater import __version__
from slackwater.errors import SlackwaterError

# command -> (module, one line for the list); the module is imported when the command is used
COMMANDS = {
    "assess": ("slackwater.cli.assess", "Judge one drain from its log and chart."),
    "audit": ("slackwater.cli.audit", "Learn from past drains."),
    "backup": ("slackwater.cli.backup", "Copy the record, whole and checked."),
    "demo": ("slackwater.cli.demo", "Simulate an invented drain and assess it."),
    "equipment": ("slackwater.cli.equipment", "Suction units: register, recalls, charge, shortage."),
    "export": ("slackwater.cli.export", "Hand one drain on: FHIR, CSV or Parquet; read vital signs in."),
    "learn": ("slackwater.cli.learn", "Relearn the leak filter's numbers from past drains."),
    "layout": ("slackwater.cli.layout", "Settle and check how a log is to be read."),
    "listen": ("slackwater.cli.listen", "Take what units send by themselves."),
    "protocol": ("slackwater.cli.protocol", "List, show, check and test rule files."),
    "record": ("slackwater.cli.record", "Keep drains in the record; list, show and export them."),
    "replay": ("slackwater.cli.replay", "Try rules on past drains."),
    "restore": ("slackwater.cli.restore", "Bring a backup back, to an empty place."),
    "risk": ("slackwater.cli.risk", "Ask published scores for a prolonged air leak."),
    "sheet": ("slackwater.cli.sheet", "Print a drain, or a ward: handover, summary, transfer and more."),
    "simulate": ("slackwater.cli.simulate", "Write invented stays whose truth is known."),
    "teach": ("slackwater.cli.teach", "Practise on invented drains, scored against the truth and your confidence."),
    "verify": ("slackwater.cli.verify", "Check that the record is what was recorded."),
    "ward": ("slackwater.cli.ward", "Serve the ward's pages."),
}

STATUS_TEXT = (
    "Not a certified medical device. It supports decisions; clinicians and local policy decide. In many places "
    "software like this is regulated; the organisation using it must find out."
)


class LazyGroup(click.Group):
    """Lists commands without importing them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = import_module(COMMANDS[cmd_name][0]).command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, about) for name, (_, about) in COMMANDS.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message=f"slackwater %(version)s\n{STATUS_TEXT}")
def group() -> None:
    """Read a chest drain's log and chart, apply the unit's own written rule, and say how sure.

    \b
    Example:
      slackwater assess log.csv --layout our-unit.toml --chart chart.csv \\
          --episode episode.toml --protocol air-50-8h

    It supports decisions; it does not decide. Clinicians and local policy decide.
    """


def main() -> None:
    """Run the command line: refused input is one line on stderr and exit 2, a fault of ours exit 1."""
    try:
        code = group.main(standalone_mode=False)
    except click.exceptions.Exit as stop:
        code = stop.exit_code
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.ctx.get_help() if error.ctx is not None else "See slackwater --help.")
        code = 0  # nothing was asked for, and nothing is wrong
    except click.ClickException as error:
        click.echo(f"slackwater: {_one_line(error.format_message())}", err=True)
        code = 2
    except click.Abort:
        click.echo("slackwater: stopped", err=True)
        code = 130
    except SlackwaterError as error:
        click.echo(f"slackwater: {_one_line(str(error))}", err=True)
        code = error.exit_code
    except BrokenPipeError:  # the reader has gone, e.g. `| head`
        sys.stderr.close()
        code = 0
    except OSError as error:
        click.echo(f"slackwater: the answer cannot be written: {error.strerror}. Check where it goes.", err=True)
        code = 2
    except Exception as error:
        if "SLACKWATER_TRACEBACK" in os.environ:
            raise
        click.echo(
            f"slackwater: a fault of ours ({type(error).__name__}); nothing was concluded. "
            "Set SLACKWATER_TRACEBACK=1 to see where.",
            err=True,
        )
        code = 1
    sys.exit(code if isinstance(code, int) else 0)


def _one_line(text: str) -> str:
    """A message on one line; what does not print, in a file's name say, is shown as '·'."""
    return "".join(c if c.isprintable() else "·" for c in " ".join(text.split()))
