"""What one value of the plan may be: each reader gives the value or raises ValueError with what to do.

Knows no table. A reader of a key that may hold a secret never repeats the value.
Times in nanoseconds.
"""

import re
from collections.abc import Callable
from enum import StrEnum
from typing import TypeVar

from relayd.core.plan import DAY, HOUR, MINUTE, Limit
from relayd.settings.tongues import LANGUAGES
from relayd.settings.zone import zone_name
from relayd.words import did_you_mean, duration, looks_secret, one_of, quoted, spelt

Kinds = TypeVar("Kinds", bound=StrEnum)
NEVER = 0
"""ns; stands for a limit that is never reached."""
LONGEST_TEMPLATE = 1000
MOST_MESSAGES = 500
SPANS = {"minute": MINUTE, "hour": HOUR, "day": DAY}


class Level(StrEnum):
    """The level of a line while the contact is closed."""

    LOW = "low"
    HIGH = "high"


class Pull(StrEnum):
    """The unit's own bias of a line."""

    NONE = "none"
    UP = "up"
    DOWN = "down"


class Version(StrEnum):
    """The version of MQTT that the broker speaks."""

    FIVE = "5"
    THREE = "3.1.1"


class Transport(StrEnum):
    """How the bytes of MQTT travel."""

    TCP = "tcp"
    WEBSOCKETS = "websockets"


class Per(StrEnum):
    """What an announcement is made for, each of them once."""

    UNIT = "unit"
    PANEL = "panel"
    ALARM = "alarm"
    INPUT = "input"


def words(value: object, longest: int = 80) -> str:
    """One line of text, not empty, without blanks at its ends."""
    if not isinstance(value, str):
        raise ValueError('must be text in quotes, such as "text"')
    if not value.strip() or not value.isprintable():
        raise ValueError("must be one line of text that is not empty")
    if len(value) > longest:
        raise ValueError(f"is too long; at most {longest} characters")
    return value.strip()


def id_of(value: object) -> str:
    """An id: small letters, digits and single hyphens between them."""
    text = words(value)
    if re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", text):
        return text
    fit = "" if looks_secret(text) else "-".join(re.findall(r"[a-z0-9]+", text.lower()))
    meant = f'; did you mean "{fit}"?' if fit else ""
    raise ValueError(
        f"{quoted(text)} is no id; small letters, digits and single hyphens between them{meant}"
    )


def choice(kinds: type[Kinds], *but: Kinds) -> Callable[[object], Kinds]:
    """A reader for one word of a list, `but` these."""

    def read(value: object) -> Kinds:
        allowed = [each.value for each in kinds if each not in but]
        if not isinstance(value, str):
            raise ValueError(f"must be text in quotes; {one_of(allowed)}")
        if value not in allowed:
            raise ValueError(
                f"{quoted(value)} is not known; {one_of(allowed)}{did_you_mean(value, allowed)}"
            )
        return kinds(value)

    return read


def span(least: int, most: int) -> Callable[[object], int]:
    """A reader for times between two bounds (ns)."""

    def read(value: object) -> int:
        span = duration(value)
        if not least <= span <= most:
            raise ValueError(
                f"{quoted(str(value))} is out of bounds; {spelt(least)} to {spelt(most)}"
            )
        return span

    return read


def span_or_never(least: int, most: int) -> Callable[[object], int]:
    """A reader for times between two bounds (ns), or the word "never": NEVER."""
    within = span(least, most)
    return lambda value: NEVER if value == "never" else within(value)


def number(least: int, most: int) -> Callable[[object], int]:
    """A reader for whole numbers between two bounds."""

    def read(value: object) -> int:
        if not isinstance(value, int) or isinstance(value, bool):
            raise ValueError(f"must be a whole number without quotes; {least} to {most}")
        if not least <= value <= most:
            raise ValueError(f"is out of bounds; {least} to {most}")
        return value

    return read


def limit(value: object) -> Limit:
    """How much a service takes, such as "20 per hour"."""
    found = (
        re.fullmatch(r"([1-9]\d*) per (minute|hour|day)", value) if isinstance(value, str) else None
    )
    if found is None:
        raise ValueError(
            'must be a number and a time in quotes, such as "20 per hour"; ' + f"{one_of(SPANS)}"
        )
    count = int(found[1])
    if count > MOST_MESSAGES:
        raise ValueError(f"is out of bounds; 1 to {MOST_MESSAGES} per minute, hour or day")
    return Limit(count, SPANS[found[2]])


def language(value: object) -> str:
    """A language in which messages can be written."""
    allowed = list(LANGUAGES)
    if not isinstance(value, str):
        raise ValueError(f"must be text in quotes; {one_of(allowed)}")
    if value not in allowed:
        raise ValueError(
            f"{quoted(value)} is no language of the messages; {one_of(allowed)}"
            f"{did_you_mean(value, allowed)}"
        )
    return value


def template(value: object) -> str:
    """Text of one or several lines with $names; which names there are is a rule's business."""
    if not isinstance(value, str) or not value.strip():
        raise ValueError('must be text in quotes, such as "High water at $panel"')
    if len(value) > LONGEST_TEMPLATE:
        raise ValueError(f"is too long; at most {LONGEST_TEMPLATE} characters")
    if not all(each.isprintable() or each == "\n" for each in value):
        raise ValueError("holds a character that is no text; letters, signs and new lines")
    return value.strip()


def path(value: object) -> str:
    """The whole path of a file."""
    text = words(value, longest=1000)
    if not text.startswith("/"):
        raise ValueError("must be a whole path, beginning with /")
    return text


def web_path(value: object) -> str:
    """Where on its host a broker takes websockets: what follows the host in an address."""
    text = words(value, longest=200)
    if not re.fullmatch(r"/[!-~]*", text):
        raise ValueError('must begin with / and hold no blank, such as "/mqtt"')
    return text


def host(value: object) -> str:
    """A host's name or address alone; never shown, since an address with a password may stand here."""
    text = words(value, longest=253)
    if not re.fullmatch(r"[A-Za-z0-9._-]+|[0-9A-Fa-f:.]+(%[A-Za-z0-9]+)?", text):
        raise ValueError('must be a host name or address alone, such as "broker.example.org"')
    return text


def mail_address(value: object) -> str:
    """One mail address alone."""
    text = words(value, longest=254)
    if not re.fullmatch(r"[!-?A-~]{1,64}@[A-Za-z0-9.-]{1,189}", text):
        raise ValueError('must be a mail address alone, such as "anna@example.org"')
    return text


def flag(value: object) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise ValueError("must be true or false, without quotes")
    return value


def chip(value: object) -> str:
    """A chip's label, or its path under /dev."""
    text = words(value)
    if text.isdigit() or re.fullmatch(r"gpiochip[0-9]+", text):
        meant = f'did you mean "/dev/gpiochip{text.removeprefix("gpiochip")}"?'
        raise ValueError(
            f"{quoted(text)} is no chip; a chip's label or its path under /dev; {meant}"
        )
    if "/" in text and not text.startswith("/dev/"):
        raise ValueError(f"{quoted(text)} is no chip; a chip's label or its path under /dev")
    return text


def zone(value: object) -> str:
    """The name of a time zone."""
    return zone_name(words(value))


def address(value: object) -> str:
    """Text that is never shown; its form is looked at when every address is known."""
    if not isinstance(value, str):
        raise ValueError("must be text in quotes")
    return value


def credential(value: object) -> str:
    """The name of a file in the credentials folder."""
    text = words(value)
    if not re.fullmatch(r"[A-Za-z0-9_-][A-Za-z0-9._-]*", text):
        raise ValueError("must be the name of a file in the credentials folder, without a path")
    return text


def credential_or_path(value: object) -> str:
    """The name of a file in the credentials folder, or the whole path of a file elsewhere."""
    return path(value) if isinstance(value, str) and value.startswith("/") else credential(value)
