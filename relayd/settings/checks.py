"""What several rules ask: is it written twice, is there something of that name?

In: values and their places. Out: problems. Says nothing about a gap.
"""

from collections.abc import Callable, Iterator, Sequence

from relayd.words import Loc, Problem, did_you_mean, one_of, quoted

Lines = Callable[[Loc], int]
"""The line of a place in the file."""
Gap = Callable[[Loc], bool]
"""Whether what stands at that place was refused already."""


def twice(
    values: Sequence[object], locs: Sequence[Loc], allowed: str, line: Lines
) -> Iterator[Problem]:
    """A problem for each value that stood at an earlier place already."""
    first: dict[object, Loc] = {}
    for value, loc in zip(values, locs, strict=True):
        if value is None:
            continue
        if value in first:
            before = line(first[value])
            yield Problem(loc, f'"{value}" is used twice, first on line {before}; {allowed}')
        first.setdefault(value, loc)


def known(
    value: str | None, ids: Sequence[str | None], what: str, loc: Loc, table: str = ""
) -> Iterator[Problem]:
    """A problem where nothing is called so; `table` is what would have to be written."""
    there = list(dict.fromkeys(each for each in ids if each is not None))
    # Where one id was refused it may be the one that is meant.
    if value is None or None in ids or value in there:
        return
    allowed = one_of(there) if there else f"write a [[{table or what}]] of that id"
    yield Problem(loc, f"there is no {what} {quoted(value)}; {allowed}{did_you_mean(value, there)}")
