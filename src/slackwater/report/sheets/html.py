"""A print as one HTML file that needs nothing else; the ward's pages show the same body in their own frame."""

from __future__ import annotations

from slackwater.report.page import TURNING, asset, environment
from slackwater.report.sheets.sheet import Print, as_data


def html(of: Print) -> str:
    text: str = environment().get_template("sheet.html").render(p=as_data(of), css=asset("assets", "sheet.css"))
    return text.translate(TURNING)
