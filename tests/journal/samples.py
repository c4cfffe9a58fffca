"""Values for the journal's tests: drawn at random from the dataclasses, and a few by hand."""

import dataclasses
from collections.abc import Mapping
from enum import Enum
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from hypothesis import strategies as st

from relayd.core.effects import Record
from relayd.core.events import Now
from relayd.core.plan import Priority
from relayd.core.state import Named, Notice, NoticeKind, Send, SendState, Stamp, State, Subject

BOOT = "3f0c4c1e-0000-4000-8000-000000000001"
SMALL = {"max_size": 3}
PLAIN: dict[Any, st.SearchStrategy[Any]] = {
    str: st.text(st.characters(exclude_categories=[]), max_size=8),
    int: st.integers(-(2**63), 2**63 - 1),
    bool: st.booleans(),
    float: st.floats(allow_nan=False, allow_infinity=False),
}


def of(hint: Any) -> st.SearchStrategy[Any]:
    """Any value of that type, every field filled in by its own hint."""
    args, origin = get_args(hint), get_origin(hint)
    if hint in PLAIN:
        return PLAIN[hint]
    if origin in (Union, UnionType):
        return st.one_of([st.none() if each is NoneType else of(each) for each in args])
    if origin is tuple:
        return st.lists(of(args[0]), **SMALL).map(tuple)  # type: ignore[arg-type]
    if origin is not None and issubclass(origin, Mapping):
        return st.dictionaries(of(args[0]), of(args[1]), **SMALL)  # type: ignore[arg-type]
    if issubclass(hint, Enum):
        return st.sampled_from(hint)
    hints = get_type_hints(hint)
    return st.builds(hint, **{each.name: of(hints[each.name]) for each in dataclasses.fields(hint)})


def well_formed(text: str) -> bool:
    """Whether a database can hold the text as it is."""
    return text == text.encode("utf-8", "replace").decode("utf-8")


READABLE = PLAIN[str].filter(well_formed)


@st.composite
def notices(draw: st.DrawFn, number: int) -> Notice:
    """A notice as the core makes them: its sends in the order of their ids, and always the same."""
    sends = [
        dataclasses.replace(draw(of(Send)), id=number + n, channel="phone", detail=draw(READABLE))
        for n in range(1, number // 10 + 1)
    ]
    texts = {name: draw(READABLE) for name in ("subject", "condition", "person")}
    texts |= {name: draw(READABLE) for name in ("title", "short", "long")}
    drawn: Notice = draw(of(Notice))
    about = draw(st.lists(st.builds(Named, READABLE, READABLE), max_size=3))
    beside = draw(st.lists(READABLE, max_size=3))
    drawn = dataclasses.replace(drawn, about=tuple(about), beside=tuple(beside))
    return dataclasses.replace(drawn, id=number, sends=tuple(sends), **texts)


@st.composite
def states(draw: st.DrawFn, epoch: str = "abc123") -> State:
    """A whole state: keys are the ids of what they lead to, the counter is beyond every id."""
    subjects = {each.id: each for each in draw(st.lists(of(Subject), max_size=3))}
    subjects = {name: each for name, each in subjects.items() if well_formed(name)}
    open_notices = [
        draw(notices(number)) for number in draw(st.sets(st.sampled_from([10, 20, 30])))
    ]
    return State(
        epoch=epoch,
        boot=draw(READABLE),
        stamp=draw(of(Stamp)),
        counter=draw(st.integers(40, 2**63 - 1)),
        subjects=subjects,
        notices={each.id: each for each in open_notices},
    )


def now(second: int = 1) -> Now:
    """A moment of this boot."""
    return Now(BOOT, second * 10**9, 1_900_000_000 * 10**9 + second * 10**9, True)


def record(n: int) -> Record:
    """A line to write."""
    return Record("tested", "panel:north", {"n": n})


def notice(number: int, *sends: Send) -> Notice:
    """A notice to one person about one occurrence."""
    return Notice(
        id=number,
        subject="panel:north",
        condition="high-level",
        occurrence=7,
        person="anna",
        kind=NoticeKind.RAISED,
        priority=Priority.HIGH,
        title="High water",
        short="High water at the north pump",
        long="High water at the north pump since 03:10. Press the button, then look at the level.",
        made=Stamp(5, 6, True),
        sends=sends or (Send(number + 1, "phone", SendState.OUT, 1, 60 * 10**9),),
    )


def after(state: State, n: int) -> State:
    """The state one step on: the counter and one subject say `n`."""
    subject = Subject("panel:north", said={"n": str(n)})
    return dataclasses.replace(
        state,
        boot=BOOT,
        counter=n,
        stamp=Stamp(n, n, True),
        subjects={**state.subjects, subject.id: subject},
    )
