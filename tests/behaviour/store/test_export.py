"""A drain's files go out of the record and come back as the same record (M35)."""

# ruff: noqa: E501  a table: one case a line
from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from behaviour.store.a_drain import RULE, bundle, course_held, dump, episode, log, ms, removal, row, said, stamp, taken
from slackwater.cli.bundles import bundles_of
from slackwater.equipment.trip import CANNOT_TELL, Answer
from slackwater.store import Record, open_record
from slackwater.store.calls import record_call
from slackwater.store.home import send_home
from slackwater.store.read_out import assess_drain
from slackwater.store.take_in import Bundle, Taken, take_in
from slackwater.store.trips import plan_trip
from slackwater.store.write_out import files_of

UNSIGNED = log(serial="")  # a log without a serial number
COURSE = (
    f'[stay]\nward = "Süd"\nbed = "4"\n[[hold]]\nreason = "other"\nfrom = "{stamp(30)}"\nnote = "say \\"x\\""\n'
    f'[[order]]\nkind = "suction"\nlevel = "-20"\nunit = "cmH2O"\nfrom = "{stamp(60)}"\n'
    f'[[task]]\nwhat = "look"\n[[check]]\nwhat = "chest_xray"\ndue = "{stamp(170)}"\n'
)
AWAY = (
    f'[[canister]]\nfrom = "{stamp(20)}"\nlot = "L-1"\nsize_ml = 500.0\n'
    f'[[trip]]\nfrom = "{stamp(40)}"\ndestination = "imaging"\nplanned_min = 30\ncharge_percent = 80.5\nback = "{stamp(70)}"\n'
    f'[[home]]\nfrom = "{stamp(100)}"\nto = "{stamp(160)}"\ncontact = "ward phone"\neligible = "met"\n'
    f'[[unit_call]]\nkind = "line_blocked"\nunit = "U-7"\nfrom = "{stamp(50)}"\nattended = "{stamp(52)}"\ncause = "kink"\n'
    f'[[unit_call]]\nkind = "tilted"\nfrom = "{stamp(60)}"\n'
)
# What names the file a thing came from, and not what was said.
OF_FILES = ("name", "source", "line", "sha256", "made_from")
BUNDLES = {
    "a log and a chart": bundle(logs=[UNSIGNED]),
    "a chart alone": bundle(logs=[]),
    "a log alone": bundle(logs=[UNSIGNED], rows=None),
    "neither": bundle(logs=[], rows=None),
    "a rule": bundle(logs=[UNSIGNED], rule=RULE),
    "a course": bundle(logs=[UNSIGNED], course=COURSE),
    "off the mains, at home, signals": bundle(logs=[UNSIGNED], course=AWAY),
    "a removal": bundle(logs=[UNSIGNED], course=removal(150)),
    "several logs": bundle(logs=[log(0, 60, "", name="b.txt"), log(60, 180, "", name="a.csv")]),
    "a second drain": bundle(
        episode(shares_space_with=["2"]), logs=[UNSIGNED], rows=[row(30, "swing", "present"), row(40, "swing", "absent", drain="2")]
    ),
    "odd words": bundle(
        episode("Ł/ 1", "A/2", site='the "fifth"'.replace('"', "'"), goal="air; out"), logs=[UNSIGNED],
        rows=[row(30, "swing", "present", note='"a, ""b""\nc"', drain="A/2"), row(30.5, "swing", "present", drain="A/2")],
    ),
}  # fmt: skip


def exported(record: Record, drain: str, to: Path) -> Path:
    to.mkdir()
    for name, content in files_of(record, course_held(record, drain)).items():
        (to / name).write_bytes(content)
    return to


def recorded(record: Record, folder: Path) -> Taken:
    return take_in(record, bundles_of(folder, None, None, 0.05), by="nurse")


def content(record: Record) -> dict[str, list[dict[str, object]]]:
    """What the record says, without when it was recorded and without what names a file.

    What was worked out is compared by itself; which rules of other drains are known is no matter of this one.
    """
    return {
        noun: [
            {
                "key": one["key"],
                "happened_ms": one["happened_ms"],
                **{name: value for name, value in one["fields"].items() if noun == "protocol" or name not in OF_FILES},
            }
            for one in rows
        ]
        for noun, rows in dump(record).items()
        if noun != "table"
    }


@pytest.mark.parametrize("given", BUNDLES)
def test_what_is_exported_and_recorded_elsewhere_is_the_same(record: Record, tmp_path: Path, given: str) -> None:
    drain = taken(record, BUNDLES[given]).drain
    folder = exported(record, drain, tmp_path / "out")
    with open_record(tmp_path / "elsewhere", create=True) as elsewhere:
        assert recorded(elsewhere, folder).drain == drain
        assert content(elsewhere) == content(record)
        if given != "neither":
            assert said(assess_drain(elsewhere, drain)) == said(assess_drain(record, drain))


@pytest.mark.parametrize("given", BUNDLES)
def test_what_is_exported_and_recorded_here_again_adds_nothing(record: Record, tmp_path: Path, given: str) -> None:
    folder = exported(record, taken(record, BUNDLES[given]).drain, tmp_path / "out")
    assert recorded(record, folder).rows == 0


def test_a_second_export_is_byte_for_byte_the_first(record: Record, tmp_path: Path) -> None:
    drain = taken(record, bundle(logs=[UNSIGNED], course=COURSE, rule=RULE)).drain
    first = files_of(record, course_held(record, drain))
    with open_record(tmp_path / "elsewhere", create=True) as elsewhere:
        recorded(elsewhere, exported(record, drain, tmp_path / "out"))
        assert files_of(elsewhere, course_held(elsewhere, drain)) == first


def test_what_was_entered_on_the_wards_pages_goes_along_and_is_not_entered_twice(
    record: Record, tmp_path: Path
) -> None:
    """Trips, times at home, signals, canisters and holds have the keys of their forms; in a file nothing says so."""
    drain = taken(record, bundle(logs=[UNSIGNED])).drain
    course = course_held(record, drain)
    with record.act(by="nurse", what="enter") as act:
        plan_trip(
            act, course, from_ms=ms(40), destination="imaging", planned_min=30, fallback="seal", charge_percent=None,
            said=Answer(CANNOT_TELL, "no charge is known", None, yet=False), note=None, once="a",
        )  # fmt: skip
        send_home(act, course, from_ms=ms(100), contact="ward phone", eligible="met", protocol="", once="b")
        record_call(act, course, "tilted", from_ms=ms(50), once="c", cause="unit_tilted")
        act.add("hold", "form-d", {"drain": drain, "reason": "other", "from_ms": ms(30)})
        act.add("canister", "form-e", {"drain": drain, "from_ms": ms(20), "lot": "L-1"})
    folder = exported(record, drain, tmp_path / "out")
    told = tomllib.loads((folder / "course.toml").read_text())
    assert [told[one][0]["from"] for one in ("trip", "home", "unit_call", "hold", "canister")] == [
        stamp(40), stamp(100), stamp(50), stamp(30), stamp(20),
    ]  # fmt: skip
    assert recorded(record, folder).rows == 0
    with open_record(tmp_path / "elsewhere", create=True) as elsewhere:
        recorded(elsewhere, folder)
        there = course_held(elsewhere, drain)
        assert [(one["destination"], one["charge"], one["fallback"]) for one in there.trips] == [
            ("imaging", CANNOT_TELL, "seal")
        ]
        assert [one["contact"] for one in there.homes] == ["ward phone"]
        assert [(one["kind"], one["cause"]) for one in there.calls] == [("tilted", "unit_tilted")]
        assert recorded(elsewhere, folder).rows == 0


def test_logs_are_exported_as_their_original_bytes(record: Record) -> None:
    given = log()
    files = files_of(record, course_held(record, taken(record, bundle(logs=[given])).drain))
    assert files["log.csv"] == given.data and files["log.layout.toml"] == given.layout.to_toml().encode()


def test_what_is_not_known_is_not_written(record: Record) -> None:
    drain = taken(record, bundle(episode(weight_kg=None, site=None, connected=None), logs=[UNSIGNED])).drain
    told = tomllib.loads(files_of(record, course_held(record, drain))["episode.toml"].decode())
    assert "weight_kg" not in told["patient"] and not {"site", "connected_at"} & told["drain"].keys()


def test_an_export_as_known_then_holds_nothing_later(place: str) -> None:
    now = [1_000]
    with open_record(place, create=True, clock=lambda: now[0]) as record:
        drain = taken(record, bundle(logs=[UNSIGNED])).drain
        before = files_of(record, course_held(record, drain, 1_000))
        now[0] = 2_000
        taken(record, bundle(logs=[], rows=[row(175, "swing", "absent")], course=removal(150)))
        assert files_of(record, course_held(record, drain, 1_000)) == before


def test_a_bundle_type_is_what_a_folder_gives(record: Record, tmp_path: Path) -> None:
    folder = exported(record, taken(record, bundle(logs=[UNSIGNED])).drain, tmp_path / "out")
    given = bundles_of(folder, None, None, 0.05)
    assert isinstance(given, Bundle) and [one.name for one in given.logs] == ["log.csv"]
