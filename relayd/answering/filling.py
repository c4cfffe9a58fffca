"""Writes the codes into messages on their way out: the core knows no secret, and nothing keeps one."""

from dataclasses import replace
from typing import Protocol

from relayd.answering.codes import Codes
from relayd.core.effects import Tell
from relayd.core.saying.replying import CODE


class Tells(Protocol):
    """The way to the message services."""

    def tell(self, tell: Tell) -> None:
        """Hand out one send; never blocks."""

    def withdraw(self, send: int) -> None:
        """Take a send back if it has not left."""

    def settled(self, send: int) -> None:
        """What became of a send is remembered, or need not be. Never blocks."""


class Filling:
    """Stands before the sender."""

    def __init__(self, sender: Tells, codes: Codes) -> None:
        self._sender, self._codes = sender, codes

    def tell(self, tell: Tell) -> None:
        """Hand it on with its code; never blocks."""
        if tell.person and CODE in tell.body:
            code = self._codes.of(tell.about, tell.person)
            tell = replace(tell, body=tell.body.replace(CODE, code))
        self._sender.tell(tell)

    def withdraw(self, send: int) -> None:
        """Take a send back if it has not left."""
        self._sender.withdraw(send)

    def settled(self, send: int) -> None:
        """What became of a send is remembered, or need not be. Never blocks."""
        self._sender.settled(send)
