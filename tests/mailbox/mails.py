"""Mails for tests: what people's programs write, and what nobody's should."""

from hashlib import sha256

CODE = "k7m2p9xd"
ORIGINAL = f"""\
You are first: nobody was told before you.
HIGH LEVEL since 02:10, Cabin tank.
Code {CODE}
To take it: relayd ack creek-1.k7.12 --by anna (on the unit).
Or reply to this message: on the first line one word, seen or taken (or taken 14:00)."""


def answer(
    words: str,
    code: str = CODE,
    sender: str = "Anna <anna@example.org>",
    id: str = "",
    head: str = "",
) -> bytes:
    """A reply with the message marked below it, as most programs write it."""
    quoted = "\n".join(f"> {line}" for line in ORIGINAL.replace(CODE, code).splitlines())
    id = id or f"<{sha256(repr((words, code, sender, head)).encode()).hexdigest()}@example.org>"
    return (
        f"From: {sender}\nTo: answers@example.org\nSubject: Re: HIGH LEVEL\nMessage-ID: {id}\n{head}"
        f"Content-Type: text/plain; charset=utf-8\n\n{words}\n\nOn Monday the unit wrote:\n{quoted}\n"
    ).encode()
