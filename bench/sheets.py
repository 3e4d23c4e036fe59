"""How long sheets take: one of each kind, given an assessment; thirty drains' handover from the record.

    python bench/sheets.py [--drains 30]

Writes nothing outside a temporary folder. Targets: one sheet under 0.5 s, thirty drains under 10 s.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from slackwater.cli.demo_ward import STAYS, simulated
from slackwater.report.sheets.make import KINDS, print_many, print_one, sheet
from slackwater.report.sheets.material import Material, beside_of
from slackwater.report.sheets.pdf import pdf
from slackwater.report.sheets.ward import WardAsked, drains_in, handover_of
from slackwater.store import open_record
from slackwater.store.course import course_of
from slackwater.store.read_out import assess_course
from slackwater.store.take_in import take_in

NOW = datetime(2041, 3, 7, 14, 30, tzinfo=UTC)
NOW_MS = int(NOW.timestamp() * 1000)


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--drains", type=int, default=30)
    many = options.parse_args().drains
    with tempfile.TemporaryDirectory() as folder, open_record(Path(folder) / "record", create=True) as record:
        plain = [stay for stay in STAYS if not stay.shares]
        for number in range(many):
            stay = replace(plain[number % len(plain)], patient=f"B-{number:04}", bed=str(number + 1))
            stay = replace(stay, course="", seed=number + 1)
            take_in(record, simulated(stay, NOW, "UTC"), by="bench")
        drains = drains_in(record, None, NOW_MS)
        one_of_each(record, drains[0])
        asked = WardAsked(NOW_MS, NOW_MS, UTC, "UTC")
        began = time.perf_counter()
        sheets = [handover_of(record, drain, asked) for drain in drains]
        judged = time.perf_counter() - began
        data = pdf(print_many("Handover", sheets, NOW_MS, UTC)).data
        took = time.perf_counter() - began
        print(f"handover of {len(drains)} drains of the record: {took:.1f} s, of it judging {judged:.1f} s; "
              f"{len(data) / 1000:.0f} kB")  # fmt: skip


def one_of_each(record: object, drain: str) -> None:
    from slackwater.store.record import Record

    assert isinstance(record, Record)
    with record.reading() as connection:
        course = course_of(connection, drain)
        beside = beside_of(connection, course, acts=True)
    found = assess_course(record, course, now_ms=NOW_MS)
    pdf(print_one(sheet("handover", Material(found, course, UTC, NOW_MS, NOW_MS, beside)), NOW_MS, UTC))  # fonts loaded
    for name in KINDS:
        moment = NOW_MS - 7_200_000 if name == "incident" else None
        of = Material(found, course, UTC, NOW_MS, NOW_MS, beside, moment_ms=moment)
        began = time.perf_counter()
        made = print_one(sheet(name, of), NOW_MS, UTC)
        words = time.perf_counter() - began
        data = pdf(made).data
        took = time.perf_counter() - began
        print(f"{name:9} {took * 1000:5.0f} ms, of it words {words * 1000:4.0f} ms; {len(data) / 1000:.0f} kB")


if __name__ == "__main__":
    main()
