"""The plan's loader: from a file and its credentials to the frozen plan, or to everything that is wrong.

The stages, each in a file of its own: files (read and parse), read (the tables
of schema, checked value by value), rules (what must hold between the values),
secrets, warnings, build. A problem is one text: `file:line: key: what is
wrong; what is allowed; did you mean X?`. No problem, warning or description shows a secret.
"""

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from operator import itemgetter
from pathlib import Path

from relayd.core.plan import Plan
from relayd.errors import PlanRefused, Usage
from relayd.rig import Rig
from relayd.settings import announce, reach, supervision
from relayd.settings.build import build_plan, build_rig
from relayd.settings.describing import described
from relayd.settings.files import LAST_GOOD, Source, keep, parsed
from relayd.settings.read import read
from relayd.settings.rules import problems
from relayd.settings.schema import PlanTable
from relayd.settings.secrets import AddressProblem, Secrets, collect, made_up
from relayd.settings.summary import summary
from relayd.settings.warnings import warnings
from relayd.settings.where import Places
from relayd.settings.zone import offsets, year_of
from relayd.words import Problem, key_of, nearest

__all__ = [
    "LAST_GOOD",
    "AddressProblem",
    "Loaded",
    "Places",
    "describe",
    "load",
    "load_away",
    "load_or_last_good",
    "offsets",
    "outline",
    "places",
    "remember",
    "year_of",
]

_ENVIRONMENT = "RELAYD_"


@dataclass(frozen=True, slots=True)
class Loaded:
    """A plan that can be used. `digest` is the SHA-256 of its file, `text` what the file said."""

    plan: Plan
    rig: Rig
    warnings: tuple[str, ...]
    digest: str
    text: str = field(default="", repr=False)
    as_of: Callable[[int], Plan] = field(kw_only=True, repr=False, compare=False)
    """The same plan with local time, holidays and turns resolved around another instant."""
    year: int = field(kw_only=True, compare=False)
    """The year around which they are resolved in `plan`."""


def places(**given: Path | None) -> Places:
    """Where the files lie: what is given (plan, credentials, state, run), else the environment, else the usual.

    Raises Usage for a misspelt RELAYD_ name: it would silently mean another plan.
    """
    known = [name.upper() for name in Places.model_fields]
    for name in os.environ:
        word = name.removeprefix(_ENVIRONMENT)
        if name == word or word in known:
            continue
        # Only what is much like one of ours: other names may belong to other programs.
        near = nearest(word, known, cutoff=0.7)
        if near:
            raise Usage(f"{name}: there is no such setting; did you mean {_ENVIRONMENT}{near}?")
    return Places(**{name: path for name, path in given.items() if path is not None})


def load(
    path: Path,
    credentials: Path | None = None,
    *,
    wall: int,
    address_problem: AddressProblem | None = None,
    forgiving: bool = False,
) -> Loaded:
    """The plan of that file, as of `wall` (UTC, ns since 1970). Raises PlanRefused with every problem.

    `credentials` None means the usual folder (`Places`). `address_problem` tells what is wrong with
    an address, without repeating it. `forgiving` leaves out, with a warning, what lacks its secret,
    as long as each call list still reaches somebody.
    """
    return _loaded(
        path,
        lambda plan: collect(
            plan,
            Places().credentials if credentials is None else credentials,
            address_problem,
            wall,
        ),
        wall,
        forgiving,
    )


def load_away(path: Path, *, wall: int) -> Loaded:
    """The plan of that file as of `wall`, away from its unit: no secret is looked for, all are made up.

    Raises PlanRefused with every other problem.
    """
    return _loaded(path, made_up, wall)


def _loaded(
    path: Path, find: Callable[[PlanTable], Secrets], wall: int, forgiving: bool = False
) -> Loaded:
    source = parsed(path)
    reading = read(source.data)
    found = [*reading.problems, *problems(reading.plan, source.lines.line, reading.is_gap)]
    secrets = find(reading.plan)
    lacking = [each for each in secrets.problems if not reading.is_gap(each.loc)]
    if found or (lacking and not forgiving):
        raise PlanRefused(_said(source, [*found, *lacking]))
    as_of = partial(_built, reading.plan, secrets)
    plan = as_of(wall)
    _refuse_unreachable(plan, source, secrets)
    announcements, unfit = announce.made(reading.plan, plan)
    if unfit:
        raise PlanRefused(_said(source, unfit))
    doubtful = [*lacking, *secrets.doubts, *warnings(reading.plan, source.mode, plan)]
    doubts = _said(source, doubtful)
    return Loaded(
        plan,
        build_rig(reading.plan, secrets, announcements),
        tuple(doubts),
        source.digest,
        source.text,
        as_of=as_of,
        year=year_of(wall),
    )


def _built(tables: PlanTable, secrets: Secrets, wall: int) -> Plan:
    zone = tables.unit.zone if tables.unit and tables.unit.zone else "UTC"
    return build_plan(tables, secrets, offsets(zone, wall), wall)


def load_or_last_good(
    where: Places, wall: int, address_problem: AddressProblem | None = None
) -> tuple[Loaded, PlanRefused | None]:
    """The plan, or the last good one and why the plan was refused. Raises PlanRefused if neither can be used.

    The last good plan is loaded forgivingly: a lost credential must not silence all other ways.
    """
    try:
        good = load(where.plan, where.credentials, wall=wall, address_problem=address_problem)
        return good, None
    except PlanRefused as refused:
        last = where.state / LAST_GOOD
        if not os.path.exists(last):
            raise
        try:
            old = load(
                last, where.credentials, wall=wall, address_problem=address_problem, forgiving=True
            )
        except PlanRefused as both:
            raise PlanRefused([*refused.problems, *both.problems]) from None
        return old, refused


def remember(loaded: Loaded, state: Path) -> Path:
    """Keep this plan as the last good one in the state directory (mode 0600), whole or not at all. Raises OSError."""
    return keep(loaded.text, state)


def describe(loaded: Loaded) -> dict[str, object]:
    """What relayd understood, fit for JSON: times as the plan writes them, secrets only as set or not."""
    about = {"digest": loaded.digest, "warnings": list(loaded.warnings)}
    return {**described(loaded.plan, loaded.rig), **about}


def outline(loaded: Loaded, wall: int) -> list[str]:
    """A few lines a panel: what it can tell, who is told at night, the worst case; how it is supervised."""
    return [*summary(loaded.plan, wall), *supervision.summary(loaded.rig.supervision)]


def _said(source: Source, found: Iterable[Problem]) -> list[str]:
    """One text a problem, in the order of the lines, none twice."""
    lined = [(source.lines.line(each.loc), each) for each in dict.fromkeys(found)]
    lined.sort(key=itemgetter(0))
    return [f"{source.path}:{line}: {key_of(each.loc)}: {each.say}" for line, each in lined]


def _refuse_unreachable(plan: Plan, source: Source, secrets: Secrets) -> None:
    """A call list whose people have all lost their addresses cannot be forgiven."""
    for calls in plan.call_lists.values():
        persons = {
            who for each in reach.told(plan, calls) for who in reach.persons(plan, each.name)
        }
        if not any(plan.people[person].channels for person in persons):
            raise PlanRefused(_said(source, secrets.problems))
