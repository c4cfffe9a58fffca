"""How devices stand to each other (section 'Device hierarchy').

In: the descriptions of all devices of one domain. Out: what does not fit. Knows nothing of values.
"""

from collections.abc import Iterator, Mapping

from relayd.convention.description import Described
from relayd.convention.formats import Fault
from relayd.convention.identifiers import is_id, shown

Family = Mapping[str, Described]


def faults(family: Family) -> Iterator[tuple[str, Fault]]:
    """A device and what is wrong with its place, for all devices."""
    for device, said in family.items():
        for each in (*_children(device, said, family), *_upward(device, said, family)):
            yield device, each


def parent_of(said: Described) -> str | None:
    """The parent, which is the root where none is named; None for a root device."""
    return said.parent if said.parent is not None else said.root


def _children(device: str, said: Described, family: Family) -> Iterator[Fault]:
    for child in sorted(set(said.children)):
        if said.children.count(child) > 1:
            yield "child-twice", f"the child {shown(child)} is named twice"
        if not is_id(child) or child not in family:
            yield "child-unknown", f"the child {shown(child)} is no device here"
        elif child == device:
            yield "loop", "the device is its own child"
        elif family[child].root is None:
            yield "root-missing", f"its child {shown(child)} names no root"
        elif parent_of(family[child]) != device:
            yield from _other_parent(device, child, family)


def _other_parent(device: str, child: str, family: Family) -> Iterator[Fault]:
    other = parent_of(family[child])
    if family[child].parent is None and family[device].root is not None:
        yield "parent-missing", f"its child {shown(child)} names no parent"
    else:
        yield "child-twice", f"its child {shown(child)} says that its parent is {shown(str(other))}"


def _upward(device: str, said: Described, family: Family) -> Iterator[Fault]:
    if said.root is None:
        if said.parent is not None:
            yield "root-missing", "it names a parent and no root"
        return
    if said.root == device:
        yield "root-of-root", "it names itself as its root"
        return
    yield from _parent(device, said, family)
    top = _top(device, family)
    if top is None:
        yield "loop", "the device stands above itself"
    elif said.root not in family:
        yield "parent-unknown", f"its root {shown(said.root)} is no device here"
    elif top != said.root or family[said.root].root is not None:
        yield "root-wrong", f"its root {shown(said.root)} is not at the top: that is {shown(top)}"


def _parent(device: str, said: Described, family: Family) -> Iterator[Fault]:
    parent = parent_of(said)
    if parent is None or parent == device:
        return
    if parent not in family:
        if parent != said.root:
            yield "parent-unknown", f"its parent {shown(parent)} is no device here"
    elif device not in family[parent].children:
        named = [each for each, other in family.items() if device in other.children]
        if not named:
            yield "child-unnamed", f"its parent {shown(parent)} does not name it"


def _top(device: str, family: Family) -> str | None:
    """The device at the very top, as far as it is known; None where there is a ring."""
    seen, here = {device}, device
    while here in family and (above := parent_of(family[here])) is not None:
        if above in seen:
            return None
        seen.add(above)
        here = above
    return here
