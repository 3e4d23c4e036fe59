"""A FHIR resource, JSON or XML, as one plain tree: every element a list, every primitive its text as written.

Nothing is looked up outside the file: a document type or an entity is refused, so are depth and size beyond reason.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any
from xml.etree import ElementTree

from slackwater.episode.plain_text import plain_text
from slackwater.errors import ChartError

Tree = dict[str, Any]  # element -> list of trees or texts; `resourceType` -> text

DEEPEST = 40  # elements within one another; a Bundle of Observations needs ten
LONGEST_NUMBER = 40  # characters
_FHIR = "{http://hl7.org/fhir}"
_MEND = "Give one FHIR R4 resource, as JSON or XML."


def read_tree(data: bytes, name: str) -> Tree:
    """The resource in the file. Raises ChartError for what is no FHIR resource."""
    text = plain_text(data, name, ChartError).strip()
    return _of_xml(text, name) if text.startswith("<") else _of_json(text, name)


def resources(tree: Tree) -> Iterator[tuple[str, Tree]]:
    """Each resource with its place: the entries of a Bundle, or the one there is."""
    if tree["resourceType"] != "Bundle":
        yield tree["resourceType"], tree
        return
    for number, entry in enumerate(tree.get("entry", ()), start=1):
        for one in entry.get("resource", ()) if isinstance(entry, dict) else ():
            if isinstance(one, dict) and "resourceType" in one:
                yield f"entry {number}, {one['resourceType']}", one


def first(tree: Tree | None, *path: str) -> Any:
    """The first element at this path, or None."""
    found: Any = tree
    for name in path:
        inner = found.get(name) if isinstance(found, dict) else None
        found = inner[0] if inner else None
    return found


def _of_json(text: str, name: str) -> Tree:
    def number(word: str) -> str:
        if len(word) > LONGEST_NUMBER:
            raise ValueError("a number of more digits than any measurement has")
        return word

    def no_number(word: str) -> str:
        raise ValueError(f"{word} is not a number in FHIR")

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) < len(pairs):
            raise ValueError("an element is given twice")
        return found

    try:
        read = json.loads(
            text, parse_float=number, parse_int=number, parse_constant=no_number, object_pairs_hook=once
        )  # fmt: skip
        tree = _listed(read, 0)
    except (ValueError, RecursionError) as error:
        raise ChartError(f"is no FHIR resource in JSON: {error}", where=name, mend=_MEND) from error
    if not isinstance(tree, dict) or not isinstance(tree.get("resourceType"), str):
        raise ChartError("does not say what resource it is", where=name, mend=_MEND)
    return tree


def _listed(value: Any, depth: int) -> Any:
    if depth > DEEPEST:
        raise ValueError(f"elements lie more than {DEEPEST} deep")
    if isinstance(value, dict):
        return {
            key: inner
            if key == "resourceType" and isinstance(inner, str)
            else [_listed(one, depth + 1) for one in (inner if isinstance(inner, list) else [inner])]
            for key, inner in value.items()
        }
    if isinstance(value, bool):
        return str(value).lower()
    if value is None or isinstance(value, str):
        return value
    raise ValueError("a list within a list")


def _of_xml(text: str, name: str) -> Tree:
    if "<!" in text.replace("<!--", ""):
        raise ChartError("holds a document type or an entity", where=name, mend="FHIR has none: send it without.")
    try:
        root = ElementTree.fromstring(text)
        if not root.tag.startswith(_FHIR):
            raise ValueError("the root is not of http://hl7.org/fhir")
        return {"resourceType": root.tag.removeprefix(_FHIR), **_element(root, 0)}
    except (ElementTree.ParseError, ValueError) as error:
        raise ChartError(f"is no FHIR resource in XML: {error}", where=name, mend=_MEND) from error


def _element(element: ElementTree.Element, depth: int) -> Tree:
    if depth > DEEPEST:
        raise ValueError(f"elements lie more than {DEEPEST} deep")
    found: Tree = {}
    for child in element:
        tag = child.tag.removeprefix(_FHIR)
        if tag in ("resource", "contained") and len(child):
            inner: Any = {"resourceType": child[0].tag.removeprefix(_FHIR), **_element(child[0], depth + 1)}
        elif "value" in child.attrib and not len(child):
            inner = child.attrib["value"]
        else:
            inner = _element(child, depth + 1)
        found.setdefault(tag, []).append(inner)
    return found
