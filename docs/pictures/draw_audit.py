"""Draw docs/pictures/audit-*.svg from real output of `audit report` and `replay`, on an invented cohort.

    python docs/pictures/draw_audit.py

150 simulated stays, seed 5; takes about two minutes.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
STYLE = """text { fill: #1f2328; font: 13px "DejaVu Sans", sans-serif } text.soft { fill: #545b64 } .name { font-weight: 600 }
.grid { stroke: #d5d3cd; fill: none } .path { fill: none; stroke: #4a1d78; stroke-width: 2 }
.path.thin { stroke-width: 1.2; stroke: #545b64 } .dash1 { stroke-dasharray: 7 4 } .dash2 { stroke-dasharray: 2 4 }
.point, .rule { fill: #ffffff; stroke: #4a1d78; stroke-width: 2 } .marked, .rule.filled { fill: #4a1d78; stroke: #4a1d78 }
.centre { fill: none; stroke: #33383f; stroke-width: 1.5 } .limit { fill: none; stroke: #33383f; stroke-dasharray: 5 4 }
.limit.inner { stroke-dasharray: 1.5 4 } .phase { stroke: #545b64; stroke-dasharray: 2 3 } .ring { fill: none; stroke: #33383f }
.band { fill: #dbe7f3; stroke: #2b4f73; stroke-width: 0.6 }"""


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for line in (
            "simulate --cohort 150 --seed 5 --out past", "audit collect cohort --from past --protocol air-50-8h",
            "audit report cohort --out pack --change night-round=80",
            "replay cohort --protocol air-50-8h --limits 10,20,30,50,100 --hours 4,6,8,12 --page rules.html",
        ):  # fmt: skip
            subprocess.run(
                [sys.executable, "-m", "slackwater", *line.split()], cwd=folder, check=True, capture_output=True
            )
        pack, rules = (folder / "pack" / "page.html").read_text("utf-8"), (folder / "rules.html").read_text("utf-8")
    draw("audit-avoidable", picture(pack, "Avoidable hours"))
    draw("audit-trade-off", picture(rules, ""))


def picture(page: str, title: str) -> str:
    """The first picture of the page that is called so."""
    found = re.search(rf'<svg [^>]*aria-label="{title}[^"]*">.*?</svg>', page, re.S)
    assert found is not None, title
    return found[0]


def draw(name: str, svg: str) -> None:
    box = re.search(r'viewBox="0 0 (\d+) (\d+)"', svg)
    assert box is not None
    paper = f'<style>{STYLE}</style><rect width="{box[1]}" height="{box[2]}" fill="#ffffff"/>'
    whole = svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1).replace(">", f">{paper}", 1)
    (HERE / f"{name}.svg").write_text(whole + "\n", "utf-8")
    print(f"drew {name}.svg")


if __name__ == "__main__":
    main()
