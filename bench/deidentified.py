"""De-identified exports under attack: identifiers planted everywhere and looked for, then linkage.

10,000 invented drains, each with the 18 kinds of 45 CFR 164.514(b)(2)(i) planted wherever a text can stand, are
exported de-identified (bundle, CSV, Parquet, cohort) and every byte is searched; of every twentieth the identified
export is searched too, and must show what it holds. Then 1,000 simulated patients, and an attacker who knows admission
year, age band, procedure and length of stay of each, against their exports. Goals: 0 hits; at most 1 of 1,000.

    python bench/deidentified.py [--exports 10000] [--patients 1000] [--first 0] [--seed 1] [--jobs 2]
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from collections import Counter
from functools import cache, partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from behaviour.export.given_out import collected, exported, stay_of
from behaviour.export.linkage import Seen, alone, found_by_four, found_in_cohort, persons, seen, stay
from behaviour.export.planted import KINDS, hits, planted

KEY = bytes(range(16))
CONTROL_EVERY = 20
MOST_FOUND = 1  # of 1,000
CHUNK = 8


def one_drain(number: int) -> tuple[int, dict[str, set[str]], dict[str, set[str]], set[str] | None, int]:
    """Its number; hits in export and cohort; kinds found in the identified export (None: not looked at); bytes read."""
    drain, plain = planted(number), planted(number, in_rule=False)
    files = exported(drain.of, KEY)
    cohort = collected([stay_of(plain.of, plain.rule, ward=plain.who["B"])], KEY).files
    control = set(hits(exported(drain.of, None), drain)) if number % CONTROL_EVERY == 0 else None
    size = sum(map(len, files.values())) + sum(map(len, cohort.values()))
    return number, hits(files, drain), hits(cohort, plain), control, size


def one_patient(number: int, many: int, seed: int) -> Seen:
    return seen(exported(stay(_people(many, seed)[number]), KEY))


_people = cache(persons)  # once in each process


def main() -> int:
    options = argparse.ArgumentParser()
    options.add_argument("--exports", type=int, default=10_000)
    options.add_argument("--patients", type=int, default=1_000)
    options.add_argument("--first", type=int, default=0)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--jobs", type=int, default=2)
    asked = options.parse_args()
    with multiprocessing.get_context("spawn").Pool(asked.jobs) as pool:
        leaked = search(pool, asked.first, asked.exports)
        found = linkage(pool, asked.patients, asked.seed)
    if 0 < asked.patients < 1000:
        print("fewer than 1,000 patients: among few, many stand alone, and the goal is not judged")
        return int(leaked > 0)
    held = leaked == 0 and found * 1000 <= MOST_FOUND * asked.patients
    print(f"goals (0 hits, at most {MOST_FOUND} of 1,000 found): {'held' if held else 'MISSED'}")
    return 0 if held else 1


def search(pool: multiprocessing.pool.Pool, first: int, many: int) -> int:
    began, leaked, control, looked, size = time.perf_counter(), 0, Counter[str](), 0, 0
    for done, (number, out, cohort, shown, read) in enumerate(
        pool.imap_unordered(one_drain, range(first, first + many), CHUNK), start=1
    ):
        size += read
        if out or cohort:
            leaked += 1
            print(f"HIT drain {number}: export {out}, cohort {cohort}", flush=True)
        if shown is not None:
            looked += 1
            control.update(shown)
        if done % max(1, many // 10) == 0:
            print(f"{done} of {many} drains, {leaked} with a hit, {time.perf_counter() - began:.0f} s", flush=True)
    if many:
        least = min((control[kind], kind) for kind in KINDS)
        print(f"{size / 1e6:.0f} MB searched; {leaked} of {many} drains with a hit")
        each = sum(control.values()) / max(1, looked)
        print(f"control: {looked} identified exports, {each:.1f} of 18 kinds found in each; least often: ", end="")
        print(f"{KINDS[least[1]]}, in {least[0]}")
    return leaked


def linkage(pool: multiprocessing.pool.Pool, many: int, seed: int) -> int:
    if not many:
        return 0
    began, people = time.perf_counter(), persons(many, seed)
    shown = []
    ask = partial(one_patient, many=many, seed=seed)
    for done, one in enumerate(pool.imap(ask, range(many), CHUNK), start=1):
        shown.append(one)
        if done % max(1, many // 5) == 0:
            print(f"{done} of {many} patients, {time.perf_counter() - began:.0f} s", flush=True)
    found = found_by_four(people, shown)
    print(f"of {many} patients, found alone by who knows")
    print(f"  admission year, age band, procedure, length of stay in days: {found}")
    print(f"  the length of stay to the hour: {alone(one.hours for one in shown)}")
    print(f"  the length of stay to the minute: {alone(one.minutes for one in shown)}")
    print(f"  weekday and minute of the connection: {alone(one.start for one in shown)}")
    starts = [(one.connected_min // 1440 % 7, one.connected_min % 1440) for one in people]
    print(f"  the same, if weekday and time of day were told: {alone(starts)}")
    print(f"  the days, if long stays were told whole: {alone(one.stay_min // 1440 for one in people)}")
    kept = found_in_cohort(people, [stay(one) for one in people], KEY)
    print(f"of a cohort of them, which tells age and procedure: {kept['year']} by the four, {kept['no year']} without "
          "the year")  # fmt: skip
    return found


if __name__ == "__main__":
    sys.exit(main())
