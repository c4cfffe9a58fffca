"""What follows from a value of the plan alone is worked out once and kept beside that value.

In: a pure function of a value that never changes, and of what is asked. Out: the same function,
which looks up what it has told before. A changed value is another one and begins with nothing kept.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any, Protocol, TypeVar, TypeVarTuple


class Keeping(Protocol):
    """A value that has room for what was worked out from it."""

    @property
    def worked_out(self) -> dict[tuple[object, ...], Any]:
        """What was asked -> what it was told."""


Whole = TypeVar("Whole", bound=Keeping)
Asked = TypeVarTuple("Asked")
Told = TypeVar("Told")


def once(work: Callable[[Whole, *Asked], Told]) -> Callable[[Whole, *Asked], Told]:
    """The function with a memory in its first argument."""

    @wraps(work)
    def told(whole: Whole, *asked: *Asked) -> Told:
        key = (work, *asked)
        kept = whole.worked_out
        if key not in kept:
            kept[key] = work(whole, *asked)
        found: Told = kept[key]
        return found

    return told
