"""A page read as a browser reads it, strictly: what is left open or said twice shows."""

from __future__ import annotations

from html.parser import HTMLParser

_VOID = {"meta", "br", "col", "link", "img"}
#: What begins on a line or in a cell of its own.
_BLOCKS = {"br", "p", "li", "td", "th", "dt", "dd", "div", "h1", "h2", "h3", "b", "span", "title", "text"}


class Page(HTMLParser):
    """The elements of a page, and every fault of its nesting."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.faults: list[str] = []
        self.texts: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        self.faults += [f"<{name}> is never closed" for name in self._open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep an element."""
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        self.texts.append(" " if tag in _BLOCKS else "")
        if tag not in _VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep an element without content."""
        self.elements.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        """Close the innermost element, or note that it is another one."""
        if not self._open or self._open.pop() != tag:
            self.faults.append(f"</{tag}> closes nothing")

    def handle_data(self, data: str) -> None:
        """Keep text that people see."""
        if "style" not in self._open:
            self.texts.append(data)

    @property
    def text(self) -> str:
        """Everything that people read, blanks run together."""
        return " ".join("".join(self.texts).split())

    def all(self, *names: str) -> list[tuple[str, dict[str, str]]]:
        """Elements of these names, in order."""
        return [element for element in self.elements if element[0] in names]
