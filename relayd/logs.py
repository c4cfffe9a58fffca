"""What the shell says while it works: facts with keys, one line each, nothing secret in them.

In: structlog's loggers of ours, the standard library's of everybody else. Out: the stream; JSON
with the journal's priority prefix where that stream goes to systemd's journal, else plain lines.
Tracebacks hold no local variables.
"""

import logging
import os
import re
import sys
import traceback
from collections.abc import Mapping
from typing import IO, Any, cast

import structlog
from structlog.typing import EventDict, ExcInfo, Processor, WrappedLogger

STARS = "***"
PRIORITIES = {"critical": 2, "error": 3, "warning": 4, "info": 6, "debug": 7}
"""Of syslog(3), as systemd reads them at the head of a line (sd-daemon(3))."""
QUIET = ("apprise", "asyncio", "paho", "urllib3")
"""Libraries of which only warnings are of interest."""

_SECRET_KEY = re.compile(
    r"pass(?!ed|ing)|secret|credential|authori[sz]ation|cookie|token|api_?key|(^|_)key$", re.I
)
_SAID_SECRET = re.compile(
    r"\b(?P<key>pass(?:word|wd|phrase)?|secret|token|authorization|api_?key)\b(?P<mark>[\"']?\s*[=:]\s*)"
    r"(?:(?:bearer|basic)\s+)?(?:\"[^\"]*\"|'[^']*'|[^\s,;]+)",
    re.I,
)
_HEADER = re.compile(r"\b(?P<kind>bearer|basic)\s+[\w.~+/=-]{8,}", re.I)
_ADDRESS = re.compile(r"\b(?P<scheme>[a-z][a-z0-9+.-]*)://(?P<rest>\S*)", re.I)
_HOST = re.compile(r"(?:[\w.-]+|\[[0-9a-f:.]+\])(?::\d{1,5})?(?=$|[/?#'\"),;>])", re.I)
_HOST_IS_NO_SECRET = {"http", "https", "mqtt", "mqtts", "tcp", "ssl", "smtp", "smtps"}


def get(name: str) -> structlog.stdlib.BoundLogger:
    """A logger of ours: `get("daemon").info("watching", inputs=4)`."""
    return cast(structlog.stdlib.BoundLogger, structlog.get_logger(f"relayd.{name}"))


def configure(level: str = "INFO", stream: IO[str] | None = None) -> None:
    """Let all loggers of this process speak to `stream` (standard error), from `level` up."""
    out = stream or sys.stderr
    shared = _shared()
    structlog.configure(
        processors=[*shared, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        wrapper_class=structlog.stdlib.BoundLogger,
        logger_factory=structlog.stdlib.LoggerFactory(),
        cache_logger_on_first_use=False,
    )
    handler = logging.StreamHandler(out)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=[*shared, structlog.stdlib.ExtraAdder()],
            processors=[
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                _told_exception,
                redacted,
                *(_for_journal() if goes_to_journal(out) else _for_people(out)),
            ],
        )
    )
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level)
    for library in QUIET:
        logging.getLogger(library).setLevel(logging.WARNING)
    logging.captureWarnings(True)


def goes_to_journal(stream: IO[str]) -> bool:
    """Whether this very stream is the journal's: JOURNAL_STREAM is inherited by what is redirected, too."""
    try:
        found = os.fstat(stream.fileno())
    except (OSError, ValueError):
        # A stream in memory has no file.
        return False
    return os.environ.get("JOURNAL_STREAM") == f"{found.st_dev}:{found.st_ino}"


def redacted(_logger: WrappedLogger, _method: str, facts: EventDict) -> EventDict:
    """The facts without passwords, tokens and addresses' logins, whatever they are nested in."""
    return {key: _veiled(key, value) for key, value in facts.items()}


def veil(text: str) -> str:
    """The text with everything starred that looks like a secret: logins, paths of addresses, headers."""
    text = _ADDRESS.sub(_veiled_address, text)
    text = _SAID_SECRET.sub(rf"\g<key>\g<mark>{STARS}", text)
    return _HEADER.sub(rf"\g<kind> {STARS}", text)


def _veiled(key: object, value: object) -> object:
    if _SECRET_KEY.search(str(key)) and value not in (None, ""):
        return STARS
    if isinstance(value, str):
        return veil(value)
    if isinstance(value, Mapping):
        return {str(name): _veiled(name, each) for name, each in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_veiled("", each) for each in value]
    if value is None or isinstance(value, bool | int | float):
        return value
    return veil(repr(value))


def _veiled_address(found: re.Match[str]) -> str:
    """Scheme and host stay, where the scheme is one whose host is no secret."""
    scheme, rest = found["scheme"], found["rest"]
    if scheme.lower() in _HOST_IS_NO_SECRET:
        login, _, place = rest.rpartition("@")
        host = _HOST.match(place)
        if host:
            more = place[host.end() :].strip("'\"),;.>")
            return f"{scheme}://{f'{STARS}@' if login else ''}{host[0]}{f'/{STARS}' if more.strip('/') else ''}"
    return f"{scheme}://{STARS}"


def _kept(_logger: WrappedLogger, _method: str, facts: EventDict) -> EventDict:
    """A fact that is called as one of the log's own is kept under another name."""
    for key in {"level", "logger", "timestamp"} & facts.keys():
        facts[f"its_{key}"] = facts.pop(key)
    return facts


def _told_exception(_logger: WrappedLogger, _method: str, facts: EventDict) -> EventDict:
    """The traceback as text, before it is redacted: files, lines and the error, no variables."""
    info = facts.pop("exc_info", None)
    if info is True:
        info = sys.exc_info()
    elif isinstance(info, BaseException):
        info = (type(info), info, info.__traceback__)
    if isinstance(info, tuple) and info[0] is not None:
        facts["exception"] = "".join(traceback.format_exception(*cast(ExcInfo, info))).rstrip()
    return facts


def _shared() -> list[Processor]:
    return [
        structlog.contextvars.merge_contextvars,
        _kept,
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        structlog.stdlib.PositionalArgumentsFormatter(),
    ]


def _for_journal() -> list[Processor]:
    # No time of our own: the journal has a better one.
    return [structlog.processors.JSONRenderer(ensure_ascii=False), _with_priority]


def _with_priority(_logger: WrappedLogger, method: str, line: Any) -> str:
    return f"<{PRIORITIES.get(method, 6)}>{line}"


def _for_people(stream: IO[str]) -> list[Processor]:
    return [
        structlog.processors.TimeStamper(fmt="%H:%M:%S", utc=False),
        structlog.dev.ConsoleRenderer(
            colors=stream.isatty(), exception_formatter=structlog.dev.plain_traceback
        ),
    ]
