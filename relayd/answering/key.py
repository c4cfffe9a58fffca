"""The key from which this unit's codes are drawn: a file of its own that only the unit may read."""

import os
import secrets
from pathlib import Path

NAME, LENGTH = "answers.key", 32


def kept(folder: Path) -> bytes:
    """The key of that state directory, made at the first start.

    Where it cannot be kept it lasts as long as this process: codes of before mean nothing then,
    and the next messages carry others.
    """
    path, fresh = folder / NAME, secrets.token_bytes(LENGTH)
    try:
        found = path.read_bytes()
        if len(found) == LENGTH:
            return found
        path.unlink()
    except OSError:
        pass  # there is none, or it cannot be read: the next lines make one, or say nothing
    try:
        file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError:
        return fresh
    with os.fdopen(file, "wb") as whole:
        whole.write(fresh)
    return fresh
