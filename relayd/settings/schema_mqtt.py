"""The shape of [mqtt] and the tables within it."""

from typing import Annotated

from pydantic import Field

from relayd.settings import values as one
from relayd.settings.table import Credential, Flag, Id, Table, Words, reader
from relayd.settings.values import Per, Transport, Version


class BrokerTable(Table):
    """What is said of each broker."""

    host: Annotated[str | None, reader(one.host)] = None
    port: Annotated[int | None, reader(one.number(1, 65535))] = None
    version: Annotated[Version | None, reader(one.choice(Version))] = Version.FIVE
    user: Words = None
    password_from: Credential = None
    tls: Flag = False
    ca: Annotated[str | None, reader(one.path)] = None
    certificate: Annotated[str | None, reader(one.path)] = None
    key_from: Annotated[str | None, reader(one.credential_or_path)] = None
    transport: Annotated[Transport | None, reader(one.choice(Transport))] = Transport.TCP
    path: Annotated[str | None, reader(one.web_path)] = None
    commands: Flag = False
    stream: Flag = True


class AlsoTable(BrokerTable):
    """[[mqtt.also]]: one more broker."""

    name: Id = Field(description='an id such as "distant"')


class AnnounceTable(Table):
    """[[mqtt.announce]]: a topic of the site's own, told to a broker at each connection."""

    topic: Annotated[str | None, reader(one.template)] = Field(
        description='a topic with $names, such as "hub/$unit/$panel"'
    )
    payload: Annotated[str | None, reader(one.template)] = Field(
        description="a text or JSON with $names"
    )
    retain: Flag = True
    per: Annotated[Per | None, reader(one.choice(Per))] = Per.UNIT
    on: Id = None


class MqttTable(BrokerTable):
    """[mqtt]: the first broker, and what is said to all of them."""

    also: list[AlsoTable] | None = Field(default_factory=list)
    announce: list[AnnounceTable] | None = Field(default_factory=list)
