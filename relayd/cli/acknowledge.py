"""`relayd ack`: from what a person writes to what the daemon is asked."""

from collections.abc import Callable

from relayd import clock
from relayd.cli import times
from relayd.cli.status import open_places
from relayd.cli.tell import Told, part, text
from relayd.errors import RelaydError, Usage

Values = dict[str, object]


def asked(
    what: str | None,
    taken: bool | None,
    until: str | None,
    within: str | None,
    status: Callable[[], Told],
) -> Values:
    """The values of the request; `status` is asked only where they depend on it. Raises Usage, RelaydError."""
    values: Values = {}
    if until is not None or within is not None:
        values = time(until, within, status)
        if taken is False:
            raise Usage("--seen takes no time: a time says that you have it (--taken)")
        taken = True
    if taken is not None:
        values["act"] = "taken" if taken else "seen"
    what = what or _only_place(status())
    # An occurrence's id has dots, a panel's never has.
    values["occurrence" if "." in what else "panel"] = what
    return values


def time(until: str | None, within: str | None, status: Callable[[], Told]) -> Values:
    """'until' or 'within' in nanoseconds; one of them is given. Raises Usage."""
    if until is not None and within is not None:
        raise Usage("give --until or --within, not both")
    if within is not None:
        return {"within": times.span(within)}
    zone = times.site_zone(text(part(status(), "unit"), "zone"))
    return {"until": times.coming(until or "", zone, clock.now(False).wall)}


def _only_place(status: Told) -> str:
    places = open_places(status)
    if not places:
        raise RelaydError("nothing to acknowledge: no alarm is open")
    if len(places) > 1:
        raise RelaydError(f"alarms are open at {', '.join(places)}: say which one you mean")
    return places[0]
