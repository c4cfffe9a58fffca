"""The shape of [mailbox]."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from relayd.settings import values as one
from relayd.settings.table import Credential, Table, Words, reader
from relayd.words import one_of


class Secure(StrEnum):
    """How the connection to the mailbox is kept from others."""

    TLS = "tls"
    STARTTLS = "starttls"
    NONE = "none"


class MailboxTable(Table):
    """[mailbox]: where replies to messages arrive."""

    host: Annotated[str | None, reader(one.host)] = Field(
        description='the IMAP server, such as "mail.example.org"'
    )
    user: Words = Field(description="who logs in there")
    password_from: Credential = Field(
        description="the name of the file in the credentials folder that holds the password"
    )
    port: Annotated[int | None, reader(one.number(1, 65535))] = None
    secure: Annotated[Secure | None, reader(one.choice(Secure))] = Field(
        default=Secure.TLS, description=one_of(Secure)
    )
    ca: Annotated[str | None, reader(one.path)] = None
    folder: Words = "INBOX"
