"""`relayd backup` and `relayd restore`: the journal as a file that is kept elsewhere."""

import base64
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from select import select

from relayd.cli.out import Line, show
from relayd.control import client
from relayd.errors import NotReachable, RelaydError
from relayd.journal import backup as backups, lock
from relayd.journal.epoch import draw
from relayd.settings import places

ASK_AGAIN = 0.1
"""Seconds between two questions whether the copy is made."""


def backup(file: Path, state: Path | None, socket: Path) -> None:
    """Take a backup from the daemon, or from the disk where none runs. Raises RelaydError."""
    if not file.parent.is_dir():
        raise RelaydError(f"{file.parent}: there is no such folder")
    try:
        token = str(client.ask(socket, "backup")["say"])
    except NotReachable:
        _from_disk(file, state)
    else:
        with _said(file):
            backups.received(_parts(socket, token), file)
    show([Line(f"the journal is in {file} ({file.stat().st_size} bytes), whole and checked")])


def restore(file: Path, state: Path | None) -> None:
    """Put it in the place of the present journal. Raises Locked while a daemon runs, RelaydError."""
    folder = places(state=state).state
    held = lock.take(folder)
    try:
        with _said(folder):
            aside = backups.restore(file, folder / "journal.db", draw())
    finally:
        held.release()
    before = f"; the one before is set aside as {folder / aside}" if aside else ""
    show([Line(f"the journal is that of {file}{before}")])


def _from_disk(file: Path, state: Path | None) -> None:
    folder = places(state=state).state
    if not (folder / "journal.db").exists():
        raise RelaydError(f"{folder}: there is no journal, and no daemon answers")
    held = lock.take(folder)
    try:
        with _said(file):
            backups.take(folder / "journal.db", file)
    finally:
        held.release()


def _parts(socket: Path, token: str) -> Iterator[bytes]:
    """The bytes of the copy, part by part."""
    first = 0
    while True:
        told = client.ask(socket, "backup-part", {"token": token, "from": first})
        if not told["ready"]:
            select([], [], [], ASK_AGAIN)
            continue
        data = base64.b64decode(str(told["data"]))
        if not data:
            return
        first += len(data)
        yield data


@contextmanager
def _said(place: Path) -> Iterator[None]:
    """An error of the disk is a sentence."""
    try:
        yield
    except OSError as error:
        name = os.fspath(error.filename or place)
        raise RelaydError(f"{name}: {error.strerror}") from error
