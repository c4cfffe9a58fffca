"""Completes a piece of a plan, as a document shows it, to a whole plan that can be loaded."""

import re
import tomllib
from pathlib import Path
from typing import Any

UNIT = '[unit]\nid = "cabin"\nname = "Cabin"\nzone = "Europe/Vienna"\nchip = "board"\n'
PANEL = '[[panel]]\nid = "tank"\nname = "Tank"\nkind = "sewage-ejector"\n'
INPUT = '[[panel.input]]\nmeans = "high-level"\nline = 900\nin_alarm = "open"\n'
PERSON = '[[person]]\nid = "anna"\nname = "Anna"\n'
CHANNEL = '[[person.channel]]\nname = "mail"\naddress = "json://localhost/anna"\n'
STEP = '[[call_list.step]]\nafter = "0 s"\n'


def whole(piece: str) -> str:
    """The piece with what it lacks put around it; a piece that is whole comes back as it is."""
    found = tomllib.loads(piece)
    before, after = [], []
    if "unit" not in found:
        calls = found.get("call_list")
        name = calls[0]["id"] if isinstance(calls, list) else "everybody"
        before.append(f'{UNIT}call_list = "{name}"\n')
    for key, head, body in (("panel", PANEL, INPUT), ("person", PERSON, CHANNEL)):
        if key not in found:
            after.append(head + body)
        elif isinstance(found[key], dict):  # [[panel.input]] without its [[panel]]
            before.append(head)
    if "call_list" not in found:
        after.append(_call_list(found))
    elif isinstance(found["call_list"], dict):
        before.append('[[call_list]]\nid = "everybody"\n')
    return "\n".join([*before, piece, *after])


def _call_list(found: dict[str, Any]) -> str:
    persons = found.get("person")
    told = [each["id"] for each in persons] if isinstance(persons, list) else ["anna"]
    name = found.get("unit", {}).get("call_list", "everybody")
    return f'[[call_list]]\nid = "{name}"\n{STEP}tell = {told}\n'.replace("'", '"')


def secrets_of(text: str, folder: Path) -> None:
    """Write a file for each secret that the plan names, so that only the plan can be wrong."""
    folder.mkdir()
    for name in re.findall(r'^\w+_from *= *"([^"]+)"', text, re.M):
        path = folder / name
        path.write_text("json://localhost/secret\n")
        path.chmod(0o600)
