"""`relayd check`: everything that is wrong with a plan, addresses included, on standard output."""

from pathlib import Path

from relayd import clock
from relayd.channels.post import address_problems
from relayd.cli import out
from relayd.cli.out import Line, Tone
from relayd.errors import PlanRefused, RelaydError
from relayd.settings import Loaded, describe, load, outline, places


def check(plan: Path | None, json: bool) -> int:
    """Print problems, then warnings, then what the plan comes to; 1 if there is a problem. Raises Usage."""
    where = places(plan=plan)
    problems: list[str] = []
    warnings: list[str] = []
    loaded: Loaded | None = None
    try:
        loaded = _loaded(where.plan, where.credentials, warnings)
        warnings = [*loaded.warnings, *warnings]
    except PlanRefused as refused:
        problems = refused.problems
    if json:
        understood = describe(loaded) if loaded else None
        lines = outline(loaded, clock.now(False).wall) if loaded else []
        body = {"plan": str(where.plan), "problems": problems, "warnings": warnings}
        out.show_json({**body, "outline": lines, "understood": understood})
    else:
        out.show(_lines(where.plan, problems, warnings, loaded))
    return 1 if problems else 0


def _loaded(plan: Path, credentials: Path, doubts: list[str]) -> Loaded:
    """Loaded twice: the first time finds all addresses, so that one process can look at them."""
    wall = clock.now(False).wall
    found: dict[str, None] = {}
    try:
        load(plan, credentials, wall=wall, address_problem=found.setdefault)
    except PlanRefused:
        if not found:
            raise
    return load(plan, credentials, wall=wall, address_problem=_looked_at([*found], doubts).get)


def _looked_at(addresses: list[str], doubts: list[str]) -> dict[str, str | None]:
    try:
        return dict(zip(addresses, address_problems(addresses), strict=True)) if addresses else {}
    except RelaydError as error:
        doubts.append(str(error))
        return {}


def _lines(
    plan: Path, problems: list[str], warnings: list[str], loaded: Loaded | None
) -> list[Line]:
    lines = [Line(each, Tone.URGENT) for each in problems]
    lines += [Line(f"warning: {each}", Tone.WARN) for each in warnings]
    if loaded is not None:
        about = loaded.plan
        inputs = len(about.inputs) + sum(len(each.inputs) for each in about.panels.values())
        counts = f"panels: {len(about.panels)}, inputs: {inputs}, people: {len(about.people)}"
        lines.append(Line(f"{plan}: can be used ({counts})"))
        lines += [Line(each) for each in outline(loaded, clock.now(False).wall)]
    return lines
