"""What programs send and are given, as far as all routes share it. Bodies are strict: a name too many is refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, GetCoreSchemaHandler, WithJsonSchema
from pydantic_core import CoreSchema, core_schema

from slackwater.episode.instants import read_instant
from slackwater.errors import QuantityError
from slackwater.web.forms import Form

LONGEST = 2000


def _with_offset(text: str) -> str:
    try:
        read_instant(text)
    except QuantityError as error:
        raise ValueError(f"{error.what}. {error.mend}") from None
    return text


Instant = Annotated[
    str, AfterValidator(_with_offset),
    WithJsonSchema({"type": "string", "format": "date-time", "examples": ["2041-03-07T09:00:00+01:00"],
                    "description": "ISO 8601 with its offset from UTC; local times are refused."}),
]  # fmt: skip
Stamp = Annotated[str, WithJsonSchema({"type": "string", "format": "date-time", "description": "UTC, with Z."})]
Text = Annotated[str, Field(max_length=LONGEST)]
Once = Annotated[
    str,
    Field(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{7,63}$", examples=["3f0c2d1e-once"],
        description="The client's own key of this write: sent again with the same key it is recorded once.",
    ),
]  # fmt: skip
Version = Annotated[
    int, Field(ge=0, le=99_999_999, description="The version that was seen; a later one there is refused (409).")
]
Status = Literal["not_met", "cannot_tell", "met_with_gaps", "met", "not_applicable"]


@dataclass(frozen=True)
class OneOf:
    """One word of a closed list that stands elsewhere: `Annotated[str, OneOf(words)]`."""

    words: tuple[str, ...]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.literal_schema(list(self.words))


class Shape(BaseModel):
    """An answer, or a part of one."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Part(BaseModel):
    """A part of what is sent."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class Body(Part):
    """What is sent. `FORM`: the names under which the pages' forms have its fields, where those are others."""

    FORM: ClassVar[Mapping[str, str]] = {}

    def form(self, **further: str) -> Form:
        """The same as a form of the pages: what a page refuses is refused here, in the same words."""
        told = {self.FORM.get(name, name): text_of(value) for name, value in self if _plain(value)}
        return Form({**told, **further})

    @classmethod
    def names(cls) -> dict[str, str]:
        """The body's names of the form's fields."""
        return {theirs: ours for ours, theirs in cls.FORM.items()}


class Write(Body):
    """A write: recorded once under its key."""

    once: Once


class Change(Write):
    """A write to something that is there, as it was seen."""

    version: Version


def _plain(value: Any) -> bool:
    return isinstance(value, str | int | float)


def text_of(value: str | float) -> str:
    """As a form has it; a number with every digit that it was given with.

    >>> text_of(12.50), text_of(1e-7), text_of(3), text_of(True)
    ('12.5', '0.0000001', '3', '1')
    """
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "1" if value else ""
    text = format(Decimal(repr(value)), "f")
    return text.removesuffix(".0")


class FieldFault(Shape):
    """One field of what was sent, and what is wrong with it."""

    field: str = Field(description="E.g. rows.0.value; empty for the body as a whole.")
    says: str


class Problem(Shape):
    """A refusal (RFC 9457). Nothing of what was refused stands in it."""

    type: Literal["about:blank"] = "about:blank"
    title: str
    status: int
    detail: str
    errors: list[FieldFault] = []


class CautionShape(Shape):
    id: str
    text: str


class RuleName(Shape):
    """Which rule judged: its name and version, and the SHA-256 of its file."""

    name: str
    version: str | None
    sha256: str


class OfDrain(Shape):
    """Which drain, as of when, on what data, by which rule; and the cautions that go with every answer about it."""

    drain: str = Field(description="The drain's key.")
    name: str = Field(description="Patient and number, as people say it.")
    number: str
    side: str | None
    space: str | None
    site: str | None
    as_of: Stamp = Field(description="The moment asked about; a drain that is out is judged as of its removal.")
    known: Stamp | None = Field(description="As the record stood then; null: as it stands.")
    data_until: Stamp | None = Field(description="End of the last reading; null without a log.")
    age_s: int | None = Field(description="How old that is now, in seconds.")
    protocol: RuleName | None
    status: Status | None = Field(description="What the whole rule says; null where no rule for removal is pinned.")
    failed: str | None = Field(description="Why nothing could be worked out; the status is then cannot_tell.")
    cautions: list[CautionShape] = Field(min_length=1)


class Recorded(OfDrain):
    """What a write did. `recorded`: keys of what it entered or changed; the same when it is sent again."""

    recorded: list[str] = Field(min_length=1)
