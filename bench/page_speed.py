"""The page of five days at a reading a second, opened in Chromium from a file: when the first picture stands.

The stay is simulated (healing, seed 1, 432,000 rows). Each round opens the file anew in an empty browser context.
Figures are medians of the rounds (and the largest), in milliseconds:

- scripts done: the picture of every minute is drawn, counted from the start of the navigation;
- first picture: two frames later, when it is on the screen;
- zoom, script and frame: one jump to another stretch, as the redraw's own time, and until the next frame is done.

Goals: first picture within 300 ms, a zoom within 50 ms. Without Chromium or playwright it says so and measures nothing.

    python bench/page_speed.py [rounds]
"""

from __future__ import annotations

import json
import shutil
import statistics
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
WATCH = """
window.marks = {};
document.addEventListener("DOMContentLoaded", () => {
  marks["scripts done"] = performance.now();
  requestAnimationFrame(() => requestAnimationFrame(() => { marks["first picture"] = performance.now(); }));
});
"""
# The page keeps its picture to itself: a second one in its place is asked.
AGAIN = """
const element = document.getElementById("lanes"), data = JSON.parse(document.getElementById("trace").textContent);
window.again = slackwaterLanes(element, data);
"""
JUMPS = """async () => {
  const hour = 3600000, found = [];
  for (const at of [10, 30, 70]) for (const wide of [60 * hour, 8 * hour, hour, hour / 60]) {
    const began = performance.now();
    again.show(data.from + at * hour, data.from + at * hour + wide, "");
    await new Promise((then) => requestAnimationFrame(() => setTimeout(then)));
    found.push([again.drawn().tookMs, performance.now() - began]);
  }
  return found;
}"""


def written(folder: Path) -> tuple[Path, dict[str, int]]:
    """The page as a file, and the sizes of its parts in bytes."""
    from datetime import UTC

    import slackwater
    from slackwater.report.pack import packed, packed_size
    from slackwater.report.page import page
    from slackwater.simulate import scenario, simulate

    plan = scenario("healing")
    made = simulate(replace(plan, hours=120.0, unit=replace(plan.unit, cadence_s=1)), 1)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    found = slackwater.assess(
        [slackwater.read_log(made.logs[0], layout, "log.csv")],
        chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv", made.scenario.zone),
        episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        protocol=slackwater.shipped_protocol("air-50-8h"), zone=made.scenario.zone,
    )  # fmt: skip
    data = packed(found, UTC)
    file = folder / "page.html"
    file.write_text(page(found, UTC), "utf-8")
    minutes = len(json.dumps(data["minutes"], separators=(",", ":")))
    return file, {
        "log": len(made.logs[0]), "page": file.stat().st_size, "minutes, as JSON": minutes,
        "single readings, before base64": packed_size(data["readings"]),
    }  # fmt: skip


def opened(browser: Any, file: Path) -> dict[str, list[float]]:
    """One round: the moments of the first opening, and the jumps."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.add_init_script(WATCH)
    page.goto(file.as_uri())
    page.wait_for_function("'first picture' in marks")
    marks = page.evaluate("marks")
    page.add_script_tag(content=AGAIN)
    page.wait_for_function("again.drawn().single")
    took = page.evaluate(JUMPS)
    context.close()
    return {
        **{name: [ms] for name, ms in marks.items()},
        "zoom, script": [script for script, _ in took],
        "zoom, frame": [frame for _, frame in took],
    }


def main() -> None:
    chromium = shutil.which("chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ModuleNotFoundError:
        chromium = None
    if chromium is None:
        print("needs Chromium and playwright: nothing measured")
        return
    rounds = next((int(a) for a in sys.argv[1:] if a.isdecimal()), 7)
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as play:
        file, sizes = written(Path(scratch))
        for name, size in sizes.items():
            print(f"{name:<34} {size / 1000:8.0f} kB")
        browser = play.chromium.launch(executable_path=chromium, args=FLAGS)
        opened(browser, file)
        found = [opened(browser, file) for _ in range(rounds)]
        browser.close()
    for name in found[0]:
        every = [ms for one in found for ms in one[name]]
        print(f"{name:<34} {statistics.median(every):8.0f} ms (largest {max(every):.0f})")


if __name__ == "__main__":
    main()
