"""Asks at a control socket what it may not: GROUPS SOCKET KINDS SEED COUNT OPEN OVER.

Once it is loaded it becomes a user of no rights, a member of GROUPS alone. Prints how often each
outcome came, as JSON: the word of a refusal, 'done', or why there was no connection.
"""

import json
import os
import random
import socket
import sys
from collections import Counter
from collections.abc import Sequence

NOBODY = 65534


def requests(chance: random.Random, stands: str, over: str) -> list[bytes]:
    """One of each kind, drawn anew; none may be done by who is not of the group."""
    person = chance.choice(["anna", "ben", "cleo"])
    forged: list[tuple[str, dict[str, object], str]] = [
        ("acknowledge", {"occurrence": stands, "act": "taken"}, person),
        ("acknowledge", {"panel": "cabin", "act": "seen"}, person),
        ("out-of-service", {"panel": "cabin", "within": 3600, "why": "x"}, person),
        ("looked", {"panel": "cabin", "level": "normal"}, person),
        ("stop", {}, person),
        ("reload", {}, person),
    ]
    return [line(*each) for each in forged]


def of_nobody(chance: random.Random, stands: str, over: str) -> list[bytes]:
    """What is wrong whoever asks: persons of nobody, alarms that are over or never were, no request."""
    stranger = chance.choice(["eve", "ANNA", "anna ", "", "root", "x" * 300])
    never = chance.choice([over, f"{over}7", "creek-1.k7.12", "'; --", ""])
    return [
        line("acknowledge", {"occurrence": stands, "act": "taken"}, stranger),
        line("acknowledge", {"occurrence": never, "act": "taken"}, "anna"),
        line("acknowledge", {"occurrence": stands, "act": "reset"}, "anna"),
        line("acknowledge", {"occurrence": stands, "act": "taken"}, None),
        chance.randbytes(40).replace(b"\n", b"") + b"\n",
        b'{"v":1,"id":1,"do":"acknowledge","with":' + b"[" * 4000 + b"\n",
    ]


def line(do: str, about: dict[str, object], by: "str | None") -> bytes:
    return json.dumps({"v": 1, "id": 1, "do": do, "with": about, "by": by}).encode() + b"\n"


def outcome(link: "socket.socket", asked: bytes) -> str:
    """The word that answers it."""
    link.sendall(asked)
    said = b""
    while not said.endswith(b"\n"):
        piece = link.recv(65536)
        if not piece:
            return "closed"
        said += piece
    answer = json.loads(said)
    return str(answer["no"]["code"]) if "no" in answer else "done"


def ask(path: str, kinds: str, seed: int, count: int, stands: str, over: str) -> Counter[str]:
    """Ask so often, a few over each connection."""
    chance, found = random.Random(seed), Counter[str]()
    drawn = requests if kinds == "forged" else of_nobody
    while found.total() < count:
        with socket.socket(socket.AF_UNIX) as link:
            try:
                link.connect(path)
            except OSError as problem:
                found[type(problem).__name__] += 1
                continue
            for each in drawn(chance, stands, over)[: count - found.total()]:
                found[outcome(link, each)] += 1
    return found


def become_nobody(groups: Sequence[int]) -> None:
    """Give up every right but those of these groups."""
    os.setgroups(groups)
    os.setresgid(NOBODY, NOBODY, NOBODY)
    os.setresuid(NOBODY, NOBODY, NOBODY)


if __name__ == "__main__":
    groups, path, kinds, seed, count, stands, over = sys.argv[1:]
    become_nobody([int(each) for each in groups.split(",") if each])
    print(json.dumps(ask(path, kinds, int(seed), int(count), stands, over)))
