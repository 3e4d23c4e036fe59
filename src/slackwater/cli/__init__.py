"""The command line: a thin door. Each command reads its files, makes one call and prints."""

from slackwater.cli.app import main

__all__ = ["main"]
