"""`relayd tree`: the topics of a plan, or of what a subscriber collected, and whether they keep to
the Homie convention.

Knows nothing of brokers: what a plan's unit shows comes from the core, in simulated time.
"""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path

from relayd import clock
from relayd.channels import homie
from relayd.channels.devices import devices, state_topic
from relayd.cli import out
from relayd.cli.out import Line, Tone
from relayd.convention import Finding, Force, Place, What, check_tree, place
from relayd.convention.description import Property, read
from relayd.core.plan import Plan
from relayd.errors import RelaydError
from relayd.settings import load_away, places
from relayd.simulate import Simulation

Tree = dict[str, bytes]
"""Retained topic -> payload."""


def tree(plan: Path | None, collected: Path | None, check: bool, as_json: bool) -> int:
    """Print the tree, or what is wrong with it; 1 if it breaks what the convention demands."""
    if collected is None:
        loaded = load_away(places(plan=plan).plan, wall=clock.now(False).wall)
        shown, later = of_plan(loaded.plan), [homie.command_topic(loaded.plan.unit, "ticket")]
    else:
        shown, later = collect(collected), []
    found = check_tree(shown, later) if check else []
    if as_json:
        out.show_json(_body(shown, found, check))
    else:
        out.show(_verdict(shown, found) if check else _lines(shown))
    return 1 if any(each.force is Force.MUST for each in found) else 0


def of_plan(plan: Plan) -> Tree:
    """What a broker holds once a unit of this plan has begun, every contact standing in its rest."""
    simulated = Simulation(plan, clock.now(False).wall)
    shown = dict(homie.tree(simulated.state, plan, simulated.now))
    shown |= {state_topic(each): "ready" for each in devices(shown)}
    return {topic: payload.encode() for topic, payload in shown.items()}


def collect(file: Path) -> Tree:
    """The lines `topic payload` of a file, '-' for standard input; the last of a topic counts.

    Raises RelaydError, with the line's number.
    """
    try:
        data = Path("/dev/stdin" if str(file) == "-" else file).read_bytes()
    except OSError as error:
        raise RelaydError(f"{file}: cannot be read: {error.strerror}") from error
    found: Tree = {}
    for number, line in enumerate(data.split(b"\n"), 1):
        topic, space, payload = line.partition(b" ")
        if line and (not space or b"/" not in topic):
            hint = "expected 'topic payload', as  mosquitto_sub -v -t 'homie/5/#'  prints it"
            raise RelaydError(f"{file}: line {number}: {hint}")
        if line:
            found[topic.decode("utf-8", "replace")] = payload
    if not found:
        raise RelaydError(f"{file}: holds no topic; is the unit connected to that broker?")
    return found


# ---- for people -----------------------------------------------------------------------------


def _verdict(shown: Tree, found: list[Finding]) -> Iterator[Line]:
    for each in found:
        yield Line(str(each), Tone.URGENT if each.force is Force.MUST else Tone.WARN)
    broken = sum(each.force is Force.MUST for each in found)
    doubtful = len(found) - broken
    counts = f"devices: {len(_devices(shown))}, topics: {len(shown)}"
    if broken:
        yield Line(f"breaks the convention: {broken}, doubtful: {doubtful} ({counts})", Tone.URGENT)
    else:
        yield Line(f"keeps to the Homie convention, version 5; doubtful: {doubtful} ({counts})")


def _lines(shown: Tree) -> Iterator[Line]:
    """A device, its nodes, their properties with what they may hold, and what each holds now."""
    for base, text in _devices(shown).items():
        said = _object(text)
        yield Line(f"{base}  {said.get('name', '')}", Tone.HEAD)
        properties = _described(base, text)
        for node, each in _parts(said, "nodes"):
            yield Line(f"  {node}  {each.get('name', '')}", Tone.HEAD)
            for key, about in _parts(each, "properties"):
                spec = properties.get(f"{node}/{key}")
                if spec is not None:
                    value = shown.get(f"{base}/{node}/{key}")
                    yield Line(f"    {key}  {_form(spec, about)}  {_held(spec, value)}")
        yield from (
            Line(f"  $alert/{key}  {text}", Tone.WARN) for key, text in _alerts(shown, base)
        )


def _form(spec: Property, about: Mapping[str, object]) -> str:
    words = [spec.datatype, spec.format or "", str(about.get("unit", ""))]
    words += ["settable"] if spec.settable else []
    words += [] if spec.retained else ["not retained"]
    return " ".join(filter(None, words))


def _held(spec: Property, value: bytes | None) -> str:
    if value is None:
        return "" if not spec.retained else "(nothing)"
    text = value.decode("utf-8", "replace")
    return '= ""' if text == "\0" else f"= {text}"


# ---- for programs ---------------------------------------------------------------------------


def _body(shown: Tree, found: list[Finding], check: bool) -> dict[str, object]:
    topics = {topic: payload.decode("utf-8", "replace") for topic, payload in shown.items()}
    if not check:
        return {"topics": topics}
    return {"topics": topics, "findings": [_told(each) for each in found]}


def _told(finding: Finding) -> dict[str, str]:
    return {
        "topic": finding.topic,
        "rule": finding.rule,
        "wrong": finding.wrong,
        "mend": finding.mend,
        "section": finding.section,
        "force": finding.force.value,
    }


# ---- what there is --------------------------------------------------------------------------


def _devices(shown: Tree) -> dict[str, str]:
    """Base topic -> description, in the order of the ids."""
    return {
        each.base: payload.decode("utf-8", "replace")
        for topic, payload in sorted(shown.items())
        if (each := _place(topic)) is not None and each.what is What.DESCRIPTION
    }


def _alerts(shown: Tree, base: str) -> Iterator[tuple[str, str]]:
    for topic, payload in sorted(shown.items()):
        each = _place(topic)
        if each is not None and each.base == base and each.what is What.ALERT:
            yield each.key, payload.decode("utf-8", "replace")


def _place(topic: str) -> Place | None:
    return place(topic)[0]


def _described(base: str, text: str) -> Mapping[str, Property]:
    said, _ = read(f"{base}/$description", text)
    return said.properties if said else {}


def _object(text: str) -> dict[str, object]:
    try:
        said = json.loads(text)
    except ValueError:
        return {}
    return said if isinstance(said, dict) else {}


def _parts(said: Mapping[str, object], key: str) -> Iterator[tuple[str, Mapping[str, object]]]:
    inside = said.get(key)
    for name, each in inside.items() if isinstance(inside, dict) else ():
        if isinstance(each, dict):
            yield name, each
