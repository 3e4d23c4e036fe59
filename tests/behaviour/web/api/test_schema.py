"""The outside check of the API: schemathesis reads its document and tries what the document allows and forbids.

No answer may be a fault of the program, each must be one that the document describes, what the document forbids must be
refused, and nothing may be told without logging in (the library's own checks; its documentation, 4.x).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.config import SchemathesisConfig
from schemathesis.core.failures import Failure, FailureGroup

from behaviour.web.api.a_program import API, AT, CHARTED, LEAKING, LOGGED, Program, a_program
from property.quick_and_many import DEEP

DONE = ("chart", "xray", "effort", "fluid", "hold", "tasks", "goal", "stay", "orders/suction/understood")
ENDING = f"^{API}/(lock|unlock|logout|me/password)$"  # they end the session that the rest is asked with: test_door.py
QUIET = settings(deadline=None, database=None, derandomize=True, suppress_health_check=list(HealthCheck))
REFUSED = ["2xx", "401", "403", "404", "409", "422"]  # what a well-formed body may still be refused for


CONFIG = SchemathesisConfig.from_dict({
    "generation": {"deterministic": True, "database": "none", "with-security-parameters": False},
    "checks": {"positive_data_acceptance": {"expected-statuses": REFUSED}},
})  # fmt: skip


def schema_of(program: Program, *, near: bool = False) -> Any:
    """The document as it is served; drains are those of the small ward. near: times are of the last hours, levels and
    items such as a ward would send, so that more is taken than refused."""
    document = program.told("openapi.json")
    for methods in document["paths"].values():
        for operation in methods.values():
            if near and "requestBody" in operation:
                name = operation["requestBody"]["content"]["application/json"]["schema"]["$ref"].rpartition("/")[2]
                narrowed(document["components"]["schemas"][name])
            for one in operation.get("parameters", []):
                if one["name"] == "drain":
                    one["schema"]["enum"] = [LOGGED, LEAKING, CHARTED]
    schema = schemathesis.openapi.from_dict(document, config=CONFIG)
    schema.app = already_begun(program.bedside.app)
    return schema.exclude(path_regex=ENDING)


NEAR = {
    "date-time": [AT, "2041-03-07T08:30:00+01:00"],
    "once": [f"tried-by-schema-{place:02d}" for place in range(40)],
    "level": ["-15 cmH2O", "-2 kPa", "none_added"],
    "rows": [[{"item": "swing", "value": "present"}], [{"item": "spo2", "value": "96", "unit": "%"}]],
    "version": [0, 1, 2],
}  # fmt: skip


def narrowed(part: Any) -> None:
    if isinstance(part, list):
        for one in part:
            narrowed(one)
    elif isinstance(part, dict):
        if part.get("format") == "date-time":
            part["enum"] = NEAR["date-time"]
        for name, one in part.get("properties", {}).items():
            if name in NEAR and isinstance(one, dict) and ("description" in one or name == "rows"):
                one["enum"] = NEAR[name]
        for one in part.values():
            narrowed(one)


def already_begun(app: Any) -> Any:
    """The library begins and ends an app by itself; this one has begun."""

    async def asgi(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "lifespan":
            return await app(scope, receive, send)
        for word in ("startup", "shutdown"):
            await receive()
            await send({"type": f"lifespan.{word}.complete"})
        return None

    return asgi


def tried(program: Program, case: Any) -> str:
    """The operation, where it was done."""
    answer = case.call_and_validate(headers=program.headers, cookies=dict(program.client.cookies))
    return str(case.operation.label) if answer.status_code < 300 else ""


def all_tried(program: Program, schema: Any, examples: int, *, coverage: bool = False) -> tuple[str, set[str]]:
    """What was wrong; and the operations that were done at least once. `examples` that the document allows of each, and
    as many that it forbids.

    coverage: every single way in which the document's own words can be kept or broken, beside them.
    """
    wrong, count, done = [], 0, set()
    for found in schema.get_all_operations():
        operation = found.ok()
        count += 1
        for mode in GenerationMode:
            quiet = settings(QUIET, max_examples=examples)
            cases = operation.as_strategy(generation_mode=mode)
            try:
                quiet(given(case=cases)(lambda case: done.add(tried(program, case))))()
            except Unsatisfiable:
                assert mode is GenerationMode.NEGATIVE, operation.label  # there is nothing to forbid
            except (Failure, FailureGroup, BaseExceptionGroup) as error:
                wrong.append(f"{operation.label}, {mode.value}: {told(error)}")
        for case in one_by_one(schema, operation) if coverage else ():
            try:
                done.add(tried(program, case))
            except (Failure, FailureGroup, BaseExceptionGroup) as error:
                wrong.append(f"{operation.label}, {case.meta.phase.data.description}: {told(error)}")
    assert count > 40
    return "\n".join(wrong), done - {""}


def one_by_one(schema: Any, operation: Any) -> Iterator[Any]:
    return schema.iter_coverage_cases(
        operation, generation_modes=list(GenerationMode), generation_config=schema.config.generation
    )


def told(error: BaseException) -> str:
    parts = [told(one) for one in getattr(error, "exceptions", ())]
    return "; ".join(parts) if parts else str(error)[:900]


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Program]:
    with a_program(tmp_path_factory.mktemp("ward"), "surgeon") as one:
        yield one


def test_a_few_requests_of_each_kind_are_answered_as_the_document_says(program: Program) -> None:
    wrong, done = all_tried(program, schema_of(program), 2)
    assert not wrong and len(done) >= 8


@pytest.mark.slow
@pytest.mark.parametrize("role", ["surgeon", "nurse", "keeper"])
def test_many_requests_of_each_kind_are_answered_as_the_document_says(program: Program, role: str) -> None:
    program.as_(role)
    wrong, done = all_tried(program, schema_of(program), 5 if DEEP else 2, coverage=role == "surgeon" and DEEP)
    assert not wrong and len(done) >= 8


@pytest.mark.slow
def test_requests_such_as_a_ward_sends_are_answered_as_the_document_says(program: Program) -> None:
    program.as_("surgeon")
    wrong, done = all_tried(program, schema_of(program, near=True), 10)
    assert not wrong
    assert {one for one in done if "POST" in one} >= {f"POST {API}/drains/{{drain}}/{name}" for name in DONE}
