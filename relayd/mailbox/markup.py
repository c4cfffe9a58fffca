"""The lines of a mail that came as HTML alone, as a plain one would hold them: quotes marked with '>'.

In: HTML, which may be anything. Out: text. Nothing is followed, fetched or run; what no reader sees
is left out. Runs in a child with limits (parsing.py): it may fail or never end.
"""

from html.parser import HTMLParser

DEPTH = 200
"""Elements within each other; a person's mail has some twenty."""
_LINES = frozenset(
    {
        "address",
        "article",
        "blockquote",
        "body",
        "dd",
        "div",
        "dl",
        "dt",
        "footer",
        "header",
        "html",
    }
    | {
        "h1",
        "h2",
        "h3",
        "h4",
        "h5",
        "h6",
        "li",
        "ol",
        "p",
        "pre",
        "section",
        "table",
        "td",
        "tr",
        "ul",
    }
)
"""They begin and end lines."""
_ALONE = frozenset(
    {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "wbr"}
)
"""They have no end."""
_UNSEEN = frozenset({"head", "script", "style", "template", "title"})
_DIVIDER = "_" * 8
"""A rule across the page: mail programs draw one above the message that is answered."""

_Attributes = list[tuple[str, str | None]]


def plain(html: str) -> str:
    """The lines that a reader sees. Raises ValueError where it is nested deeper than any mail."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    reader.end_line()
    return "\n".join(reader.lines)


class _Reader(HTMLParser):
    """Collects lines; `_within` are the elements around the place where it is."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.lines: list[str] = []
        self._within: list[tuple[str, bool]] = []
        """Each with whether it holds what somebody else wrote."""
        self._line: list[str] = []

    def handle_starttag(self, tag: str, attrs: _Attributes) -> None:
        if tag in _ALONE:
            self._alone(tag)
            return
        if len(self._within) >= DEPTH:
            raise ValueError("nested too deeply")
        quotes = _quotes(tag, attrs)
        if tag in _LINES or quotes:
            self.end_line()
        self._within.append((tag, quotes))

    def handle_startendtag(self, tag: str, attrs: _Attributes) -> None:
        self._alone(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in (name for name, _ in self._within):
            return
        if tag in _LINES or self._quoted():
            self.end_line()
        while self._within.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if not any(name in _UNSEEN for name, _ in self._within):
            self._line.append(data)

    def end_line(self) -> None:
        """What was collected is a line."""
        line = " ".join("".join(self._line).split())
        self._line.clear()
        if line:
            self.lines.append(f"> {line}" if self._quoted() else line)

    def _alone(self, tag: str) -> None:
        if tag in ("br", "hr"):
            self.end_line()
        if tag == "hr" and not self._quoted():
            self.lines.append(_DIVIDER)

    def _quoted(self) -> bool:
        return any(quotes for _, quotes in self._within)


def _quotes(tag: str, attrs: _Attributes) -> bool:
    """Whether an element holds the message that is answered: by its kind, or it is named so."""
    names = " ".join(value or "" for name, value in attrs if name in ("class", "id", "type"))
    return tag == "blockquote" or any(each in names.lower() for each in ("quote", "cite"))
