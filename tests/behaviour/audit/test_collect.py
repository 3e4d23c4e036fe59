"""A cohort names nobody, loses no digit, goes on where it stopped, and is the same on any engine."""

from __future__ import annotations

import json
import os
import pickle
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import polars
import pytest

from behaviour.audit.past import HOUR_MS, healed, judged, rule
from slackwater.audit.case import Outcome, facts_for
from slackwater.audit.cohort import Cohort, collected, open_cohort, read_case, write_case
from slackwater.audit.collect import How, Job, collect, de_identified, shift_of
from slackwater.audit.engines import Failed, each, engine
from slackwater.audit.replay import replay
from slackwater.audit.replays import replay_grid, replay_rule
from slackwater.audit.rules import ByRule
from slackwater.audit.shelf import Bucket, Folder, Shelf, shelf
from slackwater.audit.stays import Stay
from slackwater.audit.variants import Grid
from slackwater.cli.audit import in_folders
from slackwater.episode.pseudonyms import WEEK_BEGINS, pseudonym
from slackwater.errors import LogError, UsageError
from slackwater.protocol.evaluate import evaluate

KEY = bytes(range(16))


@dataclass(frozen=True)
class AStay:
    """Reads a simulated stay as if from somewhere; must pickle."""

    name: str
    seed: int

    def __call__(self, zone: str) -> Stay:
        if self.name == "broken":
            raise LogError("has no header", where="log.csv", mend="Send it again.")
        found = judged(self.name, self.seed)
        return Stay(f"{self.name}/{self.seed}", f"patient {self.seed}", found, Outcome(found.as_of_ms, "planned"), "W1")


def jobs(*names: str) -> list[Job]:
    return [Job(f"{name}/{n}", n, AStay(name, n)) for n, name in enumerate(names, start=1)]


def made(shelf: Shelf, names: tuple[str, ...] = ("healing", "stepwise"), **how: Any) -> tuple[Cohort, list[Any]]:
    given: dict[str, Any] = {"key": KEY, "zone": "Europe/Vienna", **how}
    *done, cohort = collect(jobs(*names), How(shelf, **given))
    assert isinstance(cohort, Cohort)
    return cohort, done


@pytest.mark.parametrize("by_ms", [0, -9 * 24 * HOUR_MS + 7 * 60_000])
def test_what_was_kept_is_read_back_to_the_last_digit(tmp_path: Path, by_ms: int) -> None:
    """M2 and M36: moved by whole minutes, every status and interval is the same."""
    case = healed(out_h=1.0)
    write_case(Folder(tmp_path), case, by_ms)
    back = read_case(Folder(tmp_path), case.about.drain)
    for name in ("air-50-8h", "strict-local", "cardiac-150-4h"):
        one, other = (
            evaluate(rule(name), facts_for(case, rule(name))),
            evaluate(rule(name), facts_for(back, rule(name))),
        )
        assert np.array_equal(one.timeline, other.timeline)
        assert [part.status for part in one.criteria] == [part.status for part in other.criteria]
    first, again = replay(case, rule("air-50-8h")), replay(back, rule("air-50-8h"))
    assert first.first_ms is not None and again.first_ms == first.first_ms + by_ms
    assert replace(again, first_ms=first.first_ms, since_ms=first.since_ms) == first


def test_every_stay_begins_in_one_week_at_its_own_weekday_and_hour(tmp_path: Path) -> None:
    cohort, _ = made(Folder(tmp_path))
    week = round(WEEK_BEGINS.timestamp() * 1000)
    for drain in cohort.drains:
        begins = read_case(cohort.shelf, drain).from_ms
        assert week <= begins < week + 7 * 24 * HOUR_MS
    case = healed()  # connected on Monday, 4 March 2041, 14:19 UTC, when clocks in Vienna showed 15:19
    moved = np.datetime64(case.from_ms + shift_of(case, "Europe/Vienna"), "ms")
    assert moved == np.datetime64("2000-01-03T15:19", "ms")


def test_nothing_in_the_files_names_a_person_a_unit_or_a_date(tmp_path: Path) -> None:
    """Of the identifiers of Safe Harbor, those that the stays hold: 45 CFR 164.514(b)(2)(i)."""
    made(Folder(tmp_path))
    told = [judged("healing", 1), judged("stepwise", 2)]
    secret = [one.episode.patient_id for one in told] + [serial for one in told for serial in _serials(one)] + ["2041"]
    for path in tmp_path.rglob("*"):
        if path.is_file():
            text = _text(path)
            assert not [word for word in secret if word and word in text], path


def test_a_units_own_numbers_of_drains_are_not_in_it(tmp_path: Path) -> None:
    """Any code that tells a person: 45 CFR 164.514(b)(2)(i)(R). A unit may number a drain by its patient."""
    cohort, _ = made(Folder(tmp_path), ("healing",))
    number = judged("healing", 1).episode.drain_number
    fluid, chart = (
        polars.read_parquet(tmp_path / f"drain={cohort.drains[0]}" / f"{name}.parquet")["drain"].drop_nulls().to_list()
        for name in ("fluid", "chart")
    )
    assert number is not None and fluid and {*fluid, *chart} == {pseudonym(KEY, "number", f"patient 1/{number}")}


def _serials(found: Any) -> list[str]:
    return [serial for log in found.trace.logs for serial in log.serials]


def _text(path: Path) -> str:
    if path.suffix == ".json":
        return path.read_text()
    table = polars.read_parquet(path)
    times = [name for name in table.columns if name in ("minute", "start") or name.endswith("_ms")]
    moments = [table[name].cast(polars.Int64).cast(polars.Datetime("ms")).alias(f"{name}, a date") for name in times]
    return table.with_columns(moments).write_csv()


def test_ages_above_89_are_90() -> None:
    case = healed()
    old = replace(case, about=replace(case.about, age_years=97.0))
    assert de_identified(old, KEY).about.age_years == 90.0
    assert de_identified(old, KEY).facts.about["patient.age_years"] == 90.0
    assert de_identified(case, KEY).about == case.about


def test_a_word_on_no_list_may_be_a_name_and_only_a_word_that_the_rule_asks_for_stays() -> None:
    case = healed()
    facts = replace(case.facts, about={**case.facts.about, "indication": "mr_alder", "operation.kind": "dr_beech"})
    odd = replace(case, about=replace(case.about, indication="mr_alder", operation="dr_beech"), facts=facts)
    told = de_identified(odd, KEY, ["excludes dr_beech"])
    other = pseudonym(KEY, "word", "mr_alder")
    assert (told.about.indication, told.facts.about["indication"]) == (other, other)
    assert (told.about.operation, told.facts.about["operation.kind"]) == ("dr_beech", "dr_beech")
    assert de_identified(odd, KEY).about.operation != "dr_beech"


HOLDS = """
import sys, time
from pathlib import Path
from slackwater.audit.shelf import Folder
with Folder(Path(sys.argv[1])).alone():
    print("held", flush=True)
    time.sleep(60)
"""


def test_of_two_at_once_the_second_is_refused_and_a_killed_one_leaves_no_lock(tmp_path: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", HOLDS, str(tmp_path)], stdout=subprocess.PIPE) as other:
        assert other.stdout is not None and other.stdout.readline() == b"held\n"
        with pytest.raises(UsageError, match="is being written by another process"):
            made(Folder(tmp_path), ("healing",))
        other.kill()
    assert not list(tmp_path.iterdir())  # the second wrote nothing, and the lock is no file
    assert len(made(Folder(tmp_path), ("healing",))[0].drains) == 1


def test_the_same_key_gives_the_same_names_and_another_others() -> None:
    """M36."""
    assert pseudonym(KEY, "drain", "x") == pseudonym(KEY, "drain", "x") != pseudonym(KEY[::-1], "drain", "x")
    assert pseudonym(KEY, "drain", "x") != pseudonym(KEY, "patient", "x")


def test_it_goes_on_where_it_stopped(tmp_path: Path) -> None:
    at = Folder(tmp_path)
    made(at, ("healing",))
    before = {name: os.stat(tmp_path / name).st_mtime_ns for name in at.names() if name.startswith("drain=")}
    cohort, done = made(at, ("healing", "stepwise"))
    assert len(cohort.drains) == 2 and len(done) == 2
    assert {name: os.stat(tmp_path / name).st_mtime_ns for name in before} == before


def test_half_a_drain_is_none(tmp_path: Path) -> None:
    at = Folder(tmp_path)
    cohort, _ = made(at)
    at.remove(f"drain={cohort.drains[0]}/drain.json")
    assert collected(at) == {cohort.drains[1]}
    assert made(at)[0].drains == cohort.drains


def test_a_drain_that_cannot_be_read_is_reported_and_stops_nobody(tmp_path: Path) -> None:
    cohort, done = made(Folder(tmp_path), ("healing", "broken", "stepwise"))
    (failed,) = [one for one in done if isinstance(one, Failed)]
    assert len(cohort.drains) == 2 and "has no header" in failed.why and "broken" not in failed.item
    kept = json.loads((tmp_path / "cohort.json").read_text())["failed"]
    assert kept == [{"drain": failed.item, "why": "could not be read"}]  # the reason may quote what names somebody


@pytest.mark.parametrize("dated_first", [True, False])
def test_a_cohort_is_of_one_kind(tmp_path: Path, dated_first: bool) -> None:
    """Drains that are there are left as they are, so dates would stay in a cohort that calls itself de-identified."""
    made(Folder(tmp_path), ("healing",), keep_dates=dated_first)
    with pytest.raises(UsageError, match="cannot be both"):
        made(Folder(tmp_path), ("healing", "stepwise"), keep_dates=not dated_first)
    assert open_cohort(tmp_path).de_identified is not dated_first


def test_another_key_is_refused_as_each_drain_would_stand_twice(tmp_path: Path) -> None:
    made(Folder(tmp_path), ("healing",))
    with pytest.raises(UsageError, match="another key"):
        made(Folder(tmp_path), ("healing",), key=KEY[::-1])
    assert len(open_cohort(tmp_path).drains) == 1


def test_what_was_stopped_is_no_cohort_yet_and_keeps_its_kind(tmp_path: Path) -> None:
    going = collect(jobs("healing", "stepwise"), How(Folder(tmp_path), KEY, "UTC"), lambda f, items: map(f, items))
    next(going)
    going.close()
    with pytest.raises(UsageError, match="not collected to its end"):
        open_cohort(tmp_path)
    with pytest.raises(UsageError, match="cannot be both"):
        made(Folder(tmp_path), keep_dates=True)
    assert len(made(Folder(tmp_path), zone="UTC")[0].drains) == 2


def test_a_sheet_that_was_spoilt_is_named(tmp_path: Path) -> None:
    cohort, _ = made(Folder(tmp_path), ("healing",))
    cohort.shelf.put(f"drain={cohort.drains[0]}/drain.json", b'{"about": 1}')
    with pytest.raises(UsageError, match="Remove it and collect again"):
        made(Folder(tmp_path), ("healing",))


@pytest.mark.parametrize("drains", [["../../elsewhere"], ["a/../../b"], "0123456789abcdef", None, [1]])
def test_a_head_from_elsewhere_leads_nowhere_else(tmp_path: Path, drains: object) -> None:
    cohort, _ = made(Folder(tmp_path), ("healing",))
    (tmp_path / "cohort.json").write_text(json.dumps({**cohort.head, "drains": drains}))
    with pytest.raises(UsageError, match="does not know"):
        open_cohort(tmp_path)


def test_a_part_that_was_spoilt_is_reported_by_the_replay(tmp_path: Path) -> None:
    cohort, _ = made(Folder(tmp_path))
    cohort.shelf.put(f"drain={cohort.drains[0]}/minutes.parquet", b"PAR1 no more")
    first, second = replay_rule(cohort, ByRule(rule("air-50-8h")))
    assert isinstance(first, Failed) and "cannot be read" in first.why
    assert not isinstance(second, Failed)


def test_dates_are_kept_where_that_is_asked(tmp_path: Path) -> None:
    cohort, _ = made(Folder(tmp_path), keep_dates=True)
    assert not cohort.de_identified and cohort.head["zone"] == "Europe/Vienna"
    assert read_case(cohort.shelf, cohort.drains[0]).from_ms == judged("healing", 1).episode.connected_at


def test_a_short_key_and_a_strange_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="too short"):
        made(Folder(tmp_path), key=b"short")
    with pytest.raises(UsageError, match="is no cohort"):
        open_cohort(tmp_path)
    (tmp_path / "cohort.json").write_text('{"schema": "another"}')
    with pytest.raises(UsageError, match="does not know"):
        open_cohort(tmp_path)


def test_a_bucket_holds_what_a_folder_holds(tmp_path: Path) -> None:
    """Through obstore, on its own local store."""
    (tmp_path / "bucket").mkdir()
    made(Folder(tmp_path / "folder"))
    cohort, _ = made(Bucket(f"file://{tmp_path / 'bucket'}"))
    assert list(cohort.shelf.names()) == list(Folder(tmp_path / "folder").names())
    for name in cohort.shelf.names():
        assert cohort.shelf.get(name) == (tmp_path / "folder" / name).read_bytes()
    cohort.shelf.remove("nothing/there")


def test_half_a_url_is_no_folder() -> None:
    with pytest.raises(UsageError, match="two slashes"):
        shelf("s3:/bucket/last-year")
    assert shelf("last-year") == Folder(Path("last-year"))


# --- engines --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder: Path = tmp_path_factory.mktemp("cohort")
    made(Folder(folder), ("healing", "stepwise", "usual_chart", "near_limit"))
    return folder


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    """A Dask cluster of two processes on this machine."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:  # fmt: skip
        yield cluster.scheduler_address


@pytest.mark.slow
def test_every_engine_gives_the_same(kept: Path, scheduler: str) -> None:
    cohort, base = open_cohort(kept), rule("air-50-8h")
    grid = Grid((20.0, 50.0), (4 * 3600.0, 8 * 3600.0))
    said = []
    for where in ("1", "2", scheduler):
        with engine(where) as over:
            said.append(
                [repr(list(replay_rule(cohort, ByRule(base), over))), repr(list(replay_grid(cohort, base, grid, over)))]
            )
    assert said[0] == said[1] == said[2]


def _reciprocal(number: int) -> float:
    return 1 / number


def test_one_that_fails_is_reported_in_its_place() -> None:
    first, second, third = each(map, _reciprocal, [1, 0, 4], chunk=2)
    assert (first, third) == (1.0, 0.25)
    assert isinstance(second, Failed) and second.item == "0" and "ZeroDivisionError" in second.why


def test_an_engine_that_is_none_is_refused() -> None:
    for where in ("0", "two", "-1"):
        with pytest.raises(UsageError, match="neither a number"), engine(where):
            pass


@pytest.mark.slow
def test_a_scheduler_that_does_not_answer_is_said() -> None:
    with pytest.raises(UsageError, match="no scheduler answers"), engine("tcp://127.0.0.1:9"):
        pass


def test_what_goes_to_another_process_comes_back_as_it_was() -> None:
    for one in (partial(AStay("healing", 1), "UTC"), How(Folder(Path("x")), KEY, "UTC"), Bucket("s3://a/b")):
        assert repr(pickle.loads(pickle.dumps(one))) == repr(one)


def test_folders_stand_in_order_of_connection_and_not_of_their_names(tmp_path: Path) -> None:
    """Folders may be named by patients: their alphabet must not be kept as the order of a de-identified cohort."""
    for name, connected in (("a", "2041-03-05T08:00:00Z"), ("b", ""), ("c", "2041-03-04T08:00:00Z")):
        (tmp_path / name).mkdir()
        text = f'[drain]\nconnected_at = "{connected}"\n' if connected else "no toml at all"
        (tmp_path / name / "episode.toml").write_text(text)
    assert [Path(drain).name for drain, _ in in_folders(str(tmp_path), None, "UTC")] == ["c", "a", "b"]
