"""Hostile mails: whatever one is made of, it is over within its limits and says nothing dangerous."""

import base64
import gzip
import os
import time
from pathlib import Path
from random import Random

import pytest

from relayd.mailbox import parsing
from relayd.mailbox.mail import READ, Mail
from relayd.mailbox.parsing import apart
from tests.mailbox.mails import answer

pytestmark = [pytest.mark.slow, pytest.mark.untraced]


def nested(depth: int) -> bytes:
    """A multipart within a multipart within …"""
    heads = (f'Content-Type: multipart/mixed; boundary="b{n}"\n\n--b{n}\n' for n in range(depth))
    return "".join(heads).encode() + b"Content-Type: text/plain\n\nseen"


BOMB = base64.encodebytes(gzip.compress(b"0" * 50_000_000))
HOSTILE: dict[str, bytes] = {
    "nothing": b"",
    "NULs": b"\0" * READ,
    "no header at all": b"seen\n\n\n",
    "a header without an end": b"Subject: " + b"x" * READ,
    "a hundred thousand headers": b"X: y\n" * 20_000 + b"\nseen",
    "a header folded ten thousand times": b"Subject: x\n" + b" x\n" * 30_000 + b"\nseen",
    "From headers": b"From: a@example.org\n" * 5_000 + b"\nseen",
    "commas in a sender": b"From: " + b"," * 90_000 + b"\n\nseen",
    "brackets in a sender": b"From: " + b"<" * 45_000 + b"(" * 45_000 + b"\n\nseen",
    "thousands of parts": b'Content-Type: multipart/mixed; boundary="b"\n\n'
    + b"--b\n\n\n" * 14_000,
    "parts within parts": nested(2_000),
    "messages within messages": b"Content-Type: message/rfc822\n\n" * 3_000,
    "a boundary of 90 kB": b"Content-Type: multipart/mixed; boundary=" + b"b" * 90_000 + b"\n\nx",
    "parameters without an end": b"Content-Type: text/plain; " + b"a*0=b; " * 12_000 + b"\n\nseen",
    "encoded words": b"Subject: " + b"=?utf-8?b?AA==?= " * 5_000 + b"\n\nseen",
    "base64 that is none": b"Content-Transfer-Encoding: base64\n\n" + b"=" * 90_000,
    "uuencode that is none": b"Content-Transfer-Encoding: x-uuencode\n\nbegin 666 x\n"
    + b"\xff" * 9000,
    "a packed bomb as text": b"Content-Encoding: gzip\nContent-Transfer-Encoding: base64\n\n"
    + BOMB,
    "a charset that unpacks": b"Content-Type: text/plain; charset=zlib_codec\n\nx\x9c",
    "a charset with a path": b'Content-Type: text/plain; charset="../../etc"\n\nseen',
    "a charset that runs for ever": b"Content-Type: text/plain; charset=punycode\n\n"
    + b"a-" * 30_000,
    "a charset with a NUL": b"Content-Type: text/plain; charset=\0utf\0\n\nseen",
    "surrogates": b"Content-Type: text/plain; charset=utf-8\n\n\xed\xa0\x80\xff\xfe",
    "only marks": b"\n" + b">" * 90_000,
    "only blank lines": b"\n" * 90_000,
    "the longest line": b"\n" + b"seen" * 20_000,
    "dashes": b"\n" + b"-" * 90_000,
    "an attribution without an end": b"\nOn " + b"<a@b" * 20_000,
    "codes and codes": b"\n" + b"Code a1b2c3d4 " * 6_000,
    "HTML without ends": b"Content-Type: text/html\n\n" + b"<p>" * 20_000,
    "ends of nothing": b"Content-Type: text/html\n\n" + b"</b>" * 16_000,
    "a tag that never ends": b"Content-Type: text/html\n\n<a " + b"b=c " * 16_000,
    "comments that never end": b"Content-Type: text/html\n\n" + b"<!--" * 4_000,
    "declarations that never end": b"Content-Type: text/html\n\n" + b"<![" * 20_000,
    "entities that never end": b"Content-Type: text/html\n\n" + b"&#x" * 20_000,
    "quotes in lines": b"Content-Type: text/html\n\n" + b"<blockquote>a</blockquote>" * 2_400,
}


@pytest.mark.parametrize("raw", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_mail_is_over_soon_and_says_little(raw: bytes) -> None:
    found = apart(raw[:READ])
    if isinstance(found, Mail):
        assert len(found.line) <= 200
        assert len(found.codes) <= 4
        assert len(found.sender) <= 320
    else:
        assert len(found) < 60


def test_noise_of_many_kinds_never_leaves_the_child() -> None:
    seed = time.time_ns() % 1_000_000
    print(f"seed {seed}")
    random = Random(seed)
    for _ in range(100):
        raw = bytearray(answer("seen"))
        for _ in range(random.randrange(1, 60)):
            at = random.randrange(len(raw))
            raw[at : at + random.randrange(4)] = random.randbytes(random.randrange(4))
        assert isinstance(apart(bytes(raw)), Mail | str)


def busy(_raw: bytes) -> Mail:
    while True:
        pass


def greedy(_raw: bytes) -> Mail:
    return Mail("", "", "", (), str(bytearray(2 * parsing.MEMORY)))


def hanging(_raw: bytes) -> Mail:
    os.read(os.pipe()[0], 1)
    raise AssertionError


def chatty(_raw: bytes) -> Mail:
    return Mail("", "", "", (), "x" * (2 * parsing.SAID))


def test_a_mail_that_burns_the_processor_is_ended() -> None:
    said = apart(b"", busy)
    assert isinstance(said, str)
    assert "it took" in said


def test_a_mail_that_hangs_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parsing, "WHOLE", 0.2)
    assert apart(b"", hanging) == "it took longer than 0.2 s"


def test_a_mail_that_says_too_much_makes_no_sense() -> None:
    assert apart(b"", chatty) == "it makes no sense"


def test_memory_is_bounded_in_the_reader_s_own_process(tmp_path: Path) -> None:
    import subprocess
    import sys

    code = (
        "from relayd.mailbox import parsing\nfrom tests.mailbox.test_parsing import greedy\n"
        "parsing.limit_memory()\nprint(parsing.apart(b'', greedy))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=30, check=True
    )
    assert done.stdout == "it makes no sense\n"
