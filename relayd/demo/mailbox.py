"""The demo's mailbox: takes real SMTP on this machine and shows each mail as it comes."""

from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller

from relayd.demo.broker import free_port
from relayd.demo.screen import Screen


class Mailbox:
    """An SMTP server on a port of its own."""

    def __init__(self, screen: Screen) -> None:
        self._screen = screen
        self.port = free_port()
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:
        """Called by the server for each mail that was taken."""
        mail = message_from_bytes(envelope.content, policy=policy.default)
        assert isinstance(mail, EmailMessage)
        part = mail.get_body(("plain",))
        text = part.get_content() if part else ""
        to = ", ".join(envelope.rcpt_tos)
        self._screen.say("mail", f"to {to}: {mail['subject']}", text.strip().splitlines())
        return "250 taken"

    def start(self) -> None:
        """Listen."""
        self._controller.start()

    def stop(self) -> None:
        """Listen no more."""
        self._controller.stop()
