"""Each table, key and entry of a TOML text is found on its line."""

import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from relayd.settings.lines import Lines, Repeat
from relayd.words import Loc
from tests.settings.plans import SOUND

TEXT = (
    '''\
# a comment with [brackets] and "quotes
top = 1
"quoted key" = 2 # more

[unit]
id = "a # b"
long = """
one
two \\""" three
"""
raw = \'\'\'
x = 1
\'\'\'
dotted.inner.key = 5

[[panel]]
id = "first"
  [[panel.input]]
  line = 1
  [[panel.input]]
  line = 2

[[panel]]
id = "second"

[[panel.input]]
line = 3
[panel.input.deep]
key = 1

[a."b.c"]
list = [
  1, 2,
  # between
  [3,
   4],
  { x = 5, y = "}" },
]
tables = [{ n = 1 },
  { n = 2 }]
after = true
'''
    + '"\\u0061\\"b" = 3'
)


@pytest.mark.parametrize(
    ("loc", "line"),
    [
        (("top",), 2),
        (("quoted key",), 3),
        (("unit",), 5),
        (("unit", "id"), 6),
        (("unit", "long"), 7),
        (("unit", "raw"), 11),
        (("unit", "dotted", "inner", "key"), 14),
        (("panel", 0), 16),
        (("panel", 0, "id"), 17),
        (("panel", 0, "input", 0), 18),
        (("panel", 0, "input", 0, "line"), 19),
        (("panel", 0, "input", 1, "line"), 21),
        (("panel", 1), 23),
        (("panel", 1, "id"), 24),
        (("panel", 1, "input", 0), 26),
        (("panel", 1, "input", 0, "line"), 27),
        (("panel", 1, "input", 0, "deep", "key"), 29),
        (("a", "b.c"), 31),
        (("a", "b.c", "list", 1), 33),
        (("a", "b.c", "list", 2, 1), 36),
        (("a", "b.c", "list", 3, "y"), 37),
        (("a", "b.c", "tables", 0, "n"), 39),
        (("a", "b.c", "tables", 1, "n"), 40),
        (("a", "b.c", "after"), 41),
        (("a", "b.c", 'a"b'), 42),
    ],
    ids=str,
)
def test_a_place_is_found_on_its_line(loc: Loc, line: int) -> None:
    lines = Lines(TEXT)
    assert lines.complete
    assert lines.knows(loc)
    assert lines.line(loc) == line


@pytest.mark.parametrize(
    ("loc", "line"),
    [
        (("panel", 1, "kind"), 23),
        (("panel", 1, "input", 0, "means"), 26),
        (("panel", 7), 16),
        (("unit", "zone"), 5),
        (("mqtt",), 1),
        ((), 1),
    ],
    ids=str,
)
def test_what_is_missing_is_placed_at_the_table_around_it(loc: Loc, line: int) -> None:
    assert Lines(TEXT).line(loc) == line


def leaves(value: object, loc: Loc = ()) -> Iterator[Loc]:
    """The places of a parsed text."""
    if loc:
        yield loc
    if isinstance(value, dict):
        for key, each in value.items():
            yield from leaves(each, (*loc, key))
    if isinstance(value, list):
        for n, each in enumerate(value):
            yield from leaves(each, (*loc, n))


@pytest.mark.parametrize(
    "text", [TEXT, SOUND, TEXT.replace("\n", "\r\n")], ids=["text", "plan", "text, CRLF"]
)
def test_every_place_that_the_parser_knows_is_known_here_too(text: str) -> None:
    lines = Lines(text)
    assert [loc for loc in leaves(tomllib.loads(text)) if not lines.knows(loc)] == []
    assert lines.repeats == []


def test_the_example_is_read_whole() -> None:
    text = (Path(__file__).parents[2] / "deploy" / "relayd.example.toml").read_text()
    lines = Lines(text)
    assert lines.complete
    for loc in leaves(tomllib.loads(text)):
        if isinstance(loc[-1], str) and len(loc) > 1:
            assert loc[-1] in text.splitlines()[lines.line(loc) - 1]


@pytest.mark.parametrize(
    ("text", "repeat"),
    [
        ("a = 1\nb = 2\na = 3\n", Repeat(("a",), 1, 3)),
        ("[a]\n[b]\n[a]\n", Repeat(("a",), 1, 3)),
        ("[[a]]\nx = 1\nx = 2\n", Repeat(("a", 0, "x"), 2, 3)),
        ("a = [{ x = 1,\nx = 2 }]", Repeat(("a", 0, "x"), 1, 2)),
    ],
    ids=["key", "table", "key of an entry", "key of an inline table"],
)
def test_what_is_written_twice_is_kept(text: str, repeat: Repeat) -> None:
    assert Lines(text).repeats == [repeat]


def test_a_table_that_is_opened_after_its_own_inner_table_is_no_repeat() -> None:
    lines = Lines("[a.b]\nx = 1\n[a]\ny = 2\n[[c.d]]\n[[c.d]]\n[c]\nz = 3\n")
    assert lines.repeats == []
    assert lines.line(("a",)) == 3
    assert lines.line(("c", "d", 1)) == 6


def test_a_broken_text_gives_what_stands_before_the_break() -> None:
    lines = Lines("a = 1\nb = 2\nc = \n")
    assert not lines.complete
    assert lines.line(("b",)) == 2


BARE = st.text("abcXYZ019_-", min_size=1, max_size=4)
KEY = st.one_of(
    BARE.map(lambda key: (key, key)),
    st.text("a.]#'= \"\\\n", min_size=1, max_size=4).map(
        lambda key: (
            key,
            '"' + key.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"',
        )
    ),
)
VALUE = st.sampled_from(
    ["1", "-2.5e3", "true", '"x # ] } ="', "'}'", '"""\na\n"""', "'''\n]\n'''", "1979-05-27 07:32:00", "[1, [2]]",
     "[\n  1, # one\n  'two',\n]", "{ k = 1, 'l' = [2] }", '""', '""""quoted""""', "0x1f", '"\\\\"', '"""a\\\n  b"""']
)  # fmt: skip


@given(
    st.lists(st.tuples(KEY, VALUE), unique_by=lambda pair: pair[0][0]),
    st.lists(KEY, unique_by=lambda key: key[0]),
)
def test_keys_and_values_of_every_form_are_walked_over(
    pairs: list[tuple[tuple[str, str], str]], tables: list[tuple[str, str]]
) -> None:
    text, expected = "", {}
    for n, (table, written) in enumerate([("entries", "entries"), *tables]):
        if table == "entries" and n:
            continue
        text += f"# table\n[[{written}]]\n"
        for (key, shown), value in pairs:
            expected[table, 0, key] = text.count("\n") + 1
            text += f"{shown} = {value} # end\n\n"
    assert tomllib.loads(text)
    lines = Lines(text)
    assert lines.complete
    assert lines.repeats == []
    assert {loc: lines.line(loc) for loc in expected} == expected


@given(st.text())
def test_no_text_makes_the_walk_fail(text: str) -> None:
    assert Lines(text).line(("a", 0)) >= 1


@given(st.text("[]{}=.,\"'\n#a \\"))
def test_whatever_the_parser_accepts_is_walked_to_its_end(text: str) -> None:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    lines = Lines(text)
    assert lines.complete
    assert all(lines.knows(loc) for loc in leaves(data))
