"""A file that cannot be read or is no TOML is refused with words for its owner."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from relayd.errors import PlanRefused
from relayd.settings import Loaded, load
from relayd.settings.files import LARGEST
from tests.settings.plans import SOUND, WALL, changed, loaded, refusals

TWICE = "is written twice, first on line"


def refused(path: Path) -> list[str]:
    with pytest.raises(PlanRefused) as caught:
        load(path, path.parent, wall=WALL)
    return [each.replace(f"{path.parent}/", "") for each in caught.value.problems]


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    say = "no.toml: there is no such file; write the plan there or name another file"
    assert refused(tmp_path / "no.toml") == [say]


def test_a_folder_is_no_plan(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").mkdir()
    assert refused(tmp_path / "plan.toml") == ["plan.toml: cannot be read: is not a plain file"]


def test_a_pipe_is_refused_and_never_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "plan.toml")
    assert refused(tmp_path / "plan.toml") == ["plan.toml: cannot be read: is not a plain file"]


def test_a_file_behind_a_file_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(SOUND)
    path = tmp_path / "plan.toml" / "plan.toml"
    with pytest.raises(PlanRefused) as caught:
        load(path, tmp_path, wall=WALL)
    assert caught.value.problems == [f"{path}: cannot be read: Not a directory"]


def test_a_file_that_is_not_ours_to_read_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def closed(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    (tmp_path / "plan.toml").write_text(SOUND)
    monkeypatch.setattr(Path, "open", closed)
    assert refused(tmp_path / "plan.toml") == ["plan.toml: cannot be read: Permission denied"]


def test_a_giant_is_no_plan(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_bytes(b"#" * (LARGEST + 1))
    assert refused(tmp_path / "plan.toml") == ["plan.toml: cannot be read: is larger than 1024 KiB"]


def test_letters_of_another_encoding_are_found(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_bytes(b'[unit]\nname = "H\xfctte"\n')
    assert refused(tmp_path / "plan.toml") == [
        "plan.toml:2: is not UTF-8 text; save the file as UTF-8 and write the letters of this line anew"
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "[unit]\nline = 17 18\n",
            "plan.toml:2: column 11: is not TOML: expected newline or end of document after a statement\n"
            "    line = 17 18\n"
            "              ^",
        ),
        (
            "[unit]\n\tmeans = high-level\n",
            "plan.toml:2: column 10: is not TOML: invalid value\n     means = high-level\n             ^",
        ),
        (
            '[unit]\nid = "cabin\n',
            "plan.toml:2: column 12: is not TOML: illegal character '\\n'\n    id = \"cabin\n               ^",
        ),
        (
            "[[panel\n",
            "plan.toml:1: column 8: is not TOML: expected ']]' at the end of an array declaration\n"
            "    [[panel\n"
            "           ^",
        ),
        (
            "tell = [\n  'anna',\n",
            "plan.toml:2: column 10: is not TOML: invalid value\n      *******\n             ^",
        ),
        (
            '[unit]\naddress = "mailto://a:b\nc"\n',
            "plan.toml:2: column 24: is not TOML: illegal character '\\n'\n"
            "    address = *************\n"
            "                           ^",
        ),
        (f"id = {'x' * 300}\n", "plan.toml:1: column 6: is not TOML: invalid value"),
    ],
    ids=[
        "two values",
        "no quotes",
        "open string",
        "open header",
        "open list",
        "a secret",
        "a very long line",
    ],
)
def test_a_slip_of_syntax_is_shown_with_a_caret(tmp_path: Path, text: str, says: str) -> None:
    assert refusals(tmp_path, text) == [says]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[unit]\nid = 'a'\nid = 'b'\n", f"plan.toml:3: unit.id: {TWICE} 2; keep one"),
        ("[unit]\n\n[unit]\n", f"plan.toml:3: unit: {TWICE} 1; keep one"),
        (
            "[[panel]]\n[[panel]]\nid = 'a'\n'id' = 'b'\n",
            f"plan.toml:4: panel.id: {TWICE} 3; keep one",
        ),
        ("[[panel]]\n\n[panel]\n", f"plan.toml:3: panel: {TWICE} 1; keep one"),
        ("[panel]\n\n[[panel]]\n", f"plan.toml:3: panel: {TWICE} 1; keep one"),
        ("unit = { id = 1, id = 2 }\n", f"plan.toml:1: unit.id: {TWICE} 1; keep one"),
    ],
    ids=["key", "table", "key of an entry", "entries, then one", "one, then entries", "inline"],
)
def test_what_is_written_twice_is_told_with_both_lines(
    tmp_path: Path, text: str, says: str
) -> None:
    assert refusals(tmp_path, text) == [says]


def test_brackets_without_end_are_refused(tmp_path: Path) -> None:
    says = ["plan.toml: brackets are nested too deeply; no key of a plan needs that"]
    assert refusals(tmp_path, "x = " + "[" * 100_000) == says


def test_a_number_of_ten_thousand_digits_is_refused(tmp_path: Path) -> None:
    assert refusals(tmp_path, "x = " + "9" * 10_000) == [
        "plan.toml: holds a number that is too long; write it shorter"
    ]


def test_a_plan_written_on_another_system_is_read(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SOUND.replace("\n", "\r\n").encode())
    assert load(path, tmp_path, wall=WALL).plan == loaded(tmp_path, SOUND).plan


def test_the_lines_of_such_a_plan_are_counted_alike(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(changed(("[mqtt]", "[mqqt]")).replace("\n", "\r\n").encode())
    assert refused(path)[0].startswith("plan.toml:49: mqqt:")


PIECES = st.sampled_from(
    [
        *SOUND.split("\n"),
        *SOUND.split('"'),
        "[[",
        "]]",
        "{",
        "}",
        "'",
        '"""',
        "\n",
        "=",
        ".",
        "1e5",
        "-",
    ]
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.one_of(st.text(), st.lists(PIECES).map("\n".join), st.lists(PIECES).map("".join)))
def test_no_text_makes_the_loader_fail_otherwise_than_by_refusing(
    tmp_path: Path, text: str
) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(PlanRefused) as caught:
        load(path, tmp_path, wall=WALL)
    assert caught.value.problems
    assert all(each.startswith(str(path)) for each in caught.value.problems)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    at=st.integers(0, len(SOUND)),
    drop=st.integers(0, 40),
    put=st.one_of(st.text(max_size=8), PIECES),
)
def test_no_slip_of_the_hand_makes_the_loader_fail_otherwise(
    tmp_path: Path, at: int, drop: int, put: str
) -> None:
    path = tmp_path / "plan.toml"
    text = SOUND[:at] + put + SOUND[at + drop :]
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    found = loaded_or_refused(path)
    if isinstance(found, PlanRefused):
        assert all(each.startswith(str(path)) for each in found.problems)
    else:
        assert found.plan.call_lists[found.plan.call_list].steps[0].after == 0


VALUES = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=6), st.dates()
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=6), inner, max_size=3)
    ),
)
KEYS = [line.split(" = ")[0] for line in SOUND.splitlines() if " = " in line]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(key=st.sampled_from(KEYS), value=VALUES)
def test_no_value_of_any_kind_makes_the_loader_fail_otherwise(
    tmp_path: Path, key: str, value: object
) -> None:
    line = next(each for each in SOUND.splitlines() if each.startswith(f"{key} = "))
    path = tmp_path / "plan.toml"
    path.write_bytes(changed((line, f"{key} = {toml(value)}")).encode("utf-8", "surrogatepass"))
    found = loaded_or_refused(path)
    if isinstance(found, PlanRefused):
        assert all(each.startswith(str(path)) for each in found.problems)
    else:
        assert found.plan.panels


def loaded_or_refused(path: Path) -> Loaded | PlanRefused:
    """What the loader makes of a file; any other exception is a failure of the test."""
    try:
        return load(path, path.parent, wall=WALL)
    except PlanRefused as refused:
        return refused


def toml(value: object) -> str:
    """The value as TOML, near enough: what is no TOML is refused as well."""
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml(key)} = {toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(char):08x}" for char in value) + '"'
    return str(value)
