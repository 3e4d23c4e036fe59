"""A page read back from its HTML: what stands where, by the marks on its parts, and all that a reader can see."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

VOID = {"meta", "br", "img", "link", "hr", "input"}
INLINE = {"a", "b", "span", "button"}
UNSEEN = {"script", "style", "title", "head"}
SPOKEN = ("title", "alt", "aria-label", "data-why")  # attributes whose words are shown or read aloud


@dataclass
class Node:
    """An element: its attributes, and its children in order, texts among them."""

    tag: str
    attrs: dict[str, str]
    children: list[Node | str] = field(default_factory=list)

    def __iter__(self) -> Iterator[Node]:
        """Every element inside, in the order of the file."""
        for child in self.children:
            if isinstance(child, Node):
                yield child
                yield from child

    def texts(self) -> Iterator[str]:
        """Every visible text, in the order of the file."""
        for child in self.children:
            if isinstance(child, str):
                yield child
            elif child.tag not in UNSEEN:
                yield from child.texts()
                yield "" if child.tag in INLINE else " "

    @property
    def text(self) -> str:
        return " ".join("".join(self.texts()).split())

    def all(self, tag: str = "", **attrs: str | None) -> list[Node]:
        """Those of that tag with these attributes; `cls` one of its classes; None: whatever it says."""
        wanted = {name.replace("_", "-"): value for name, value in attrs.items()}
        return [node for node in self if (not tag or node.tag == tag) and node._has(wanted)]

    def one(self, tag: str = "", **attrs: str | None) -> Node:
        (found,) = self.all(tag, **attrs)
        return found

    def _has(self, wanted: dict[str, str | None]) -> bool:
        for name, value in wanted.items():
            if name == "cls":
                if value not in self.attrs.get("class", "").split():
                    return False
            elif name not in self.attrs or value not in (None, self.attrs[name]):
                return False
        return True


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.root = Node("", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        node = Node(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(node)
        if tag not in VOID:
            self.open.append(node)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].children.append(Node(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def read_page(html: str) -> Node:
    """The whole document; refuses what is not nested properly."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    assert reader.open == [reader.root]
    return reader.root


def parts(page: Node, section: str) -> dict[str, Node]:
    """The clauses, guards or items of one section, by id; empty where the section is not there."""
    return {
        part.attrs["data-part"]: part for found in page.all("section", id=section) for part in found.all(data_part=None)
    }


def spoken(page: Node) -> Iterator[str]:
    """Every text that is shown or read aloud, one by one."""
    yield from (text for text in page.texts() if text.strip())
    yield from (node.attrs[name] for node in page for name in SPOKEN if node.attrs.get(name))


def trace(page: Node) -> dict[str, Any]:
    """The picture's data, as the page's script reads them."""
    (text,) = page.one("script", id="trace").children
    found: dict[str, Any] = json.loads(str(text))
    return found


def skeleton(page: Node) -> list[str]:
    """Its elements and the names of their attributes: what no text may change."""
    return [f"{node.tag}[{','.join(sorted(node.attrs))}]" for node in page]
