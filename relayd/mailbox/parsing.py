"""One mail, taken apart in a child that may use little memory and time, so that no mail can do harm.

In: bytes that somebody else chose. Out: a `Mail`, or why there is none. The process that calls
has one thread, so a fork is safe.
"""

import json
import os
import resource
import select
import signal
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import NoReturn

from relayd.mailbox import mail
from relayd.mailbox.mail import Mail

OOM_FIRST = "500"
"""Of 1000 (proc(5), oom_score_adj): the unit itself stands at -500."""
PROCESSOR = 2
"""Seconds of the processor that one mail may take."""
WHOLE = 5.0
"""Seconds of real time."""
MEMORY = 96 * 1024 * 1024
"""Bytes of address space: three times what the reader itself takes, and less than the unit may have."""
SAID = 16384
"""Bytes of what a child may say: it fits into a pipe."""

Read = Callable[[bytes], Mail]


def limit_memory() -> None:
    """No more than `MEMORY` for this process and each child; where memory ends they go first."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with suppress(OSError):  # a kernel without it, or a process that may not
        Path("/proc/self/oom_score_adj").write_text(OOM_FIRST)


def apart(raw: bytes, read: Read = mail.read) -> Mail | str:
    """The mail, or in a few words why it cannot be read."""
    answer, give = os.pipe()
    pid = os.fork()
    if not pid:
        _in_child(raw, read, give)
    os.close(give)
    try:
        said = _heard(pid, answer)
    finally:
        os.close(answer)
    if isinstance(said, str):
        return said
    found = json.loads(said)
    return Mail(**{**found, "codes": tuple(found["codes"])})


def _heard(pid: int, answer: int) -> bytes | str:
    watch = os.pidfd_open(pid)
    try:
        ended = bool(select.select([watch], [], [], WHOLE)[0])
    finally:
        os.close(watch)
    if not ended:
        os.kill(pid, signal.SIGKILL)
    status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    if not ended:
        return f"it took longer than {WHOLE:g} s"
    if status < 0:
        return f"it took more than it may (signal {-status})"
    return os.read(answer, SAID) if status == 0 else "it makes no sense"


def _in_child(raw: bytes, read: Read, give: int) -> NoReturn:
    """Read in the forked child, and end it without touching what it shares."""
    status = 1
    try:
        resource.setrlimit(resource.RLIMIT_CPU, (PROCESSOR, PROCESSOR))
        said = json.dumps(asdict(read(raw))).encode()
        if len(said) <= SAID:
            os.write(give, said)
            status = 0
    finally:
        os._exit(status)
