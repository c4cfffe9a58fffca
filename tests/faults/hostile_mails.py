"""Mails that are made to hurt whoever takes them apart, larger than those that the parser alone is shown."""

import base64
import bz2
import gzip
import io
import zipfile
import zlib

from tests.mailbox.test_parsing import HOSTILE, nested

MEGABYTE = 1_000_000
ZEROS = b"0" * (50 * MEGABYTE)


def packed() -> bytes:
    """An archive that is fifty times as large once it is unpacked."""
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as archive:
        for number in range(3):
            archive.writestr(f"{number}.txt", ZEROS)
    return whole.getvalue()


def attached(kind: str, raw: bytes) -> bytes:
    """A mail with words and an attachment."""
    text = base64.encodebytes(raw)
    head = b'MIME-Version: 1.0\nContent-Type: multipart/mixed; boundary="b"\n\n'
    words = b"--b\nContent-Type: text/plain\n\nwho is it?\n"
    named = f"--b\nContent-Type: {kind}\nContent-Transfer-Encoding: base64\n\n".encode()
    return head + words + named + text + b"\n--b--\n"


def large() -> dict[str, bytes]:
    """By name; made when they are asked for, since they need some memory."""
    return {
        "100 MB": b"Subject: x\n\n" + b"x" * (100 * MEGABYTE),
        "100 MB of lines": b"Subject: x\n\n" + b"seen\n" * (20 * MEGABYTE),
        "one line of 20 MB": b"\n" + b"taken " * (20 * MEGABYTE // 6),
        "a header of 1 MB": b"Subject: " + b"x" * MEGABYTE + b"\n\nseen\n",
        "a header of 1 MB before the others": b"X-A: " + b"y" * MEGABYTE + b"\nFrom: a@b\n\nseen\n",
        "50,000 headers": b"".join(b"X-%d: y\n" % n for n in range(50_000)) + b"\nseen\n",
        "NULs for 5 MB": b"\0" * (5 * MEGABYTE),
        "NULs in each word": b"From: a\0nna@example.org\nSub\0ject: x\n\nta\0ken\n",
        "20,000 parts in parts": nested(20_000),
        "an archive as attachment": attached("application/zip", packed()),
        "gzip as attachment": attached("application/gzip", gzip.compress(ZEROS)),
        "bzip2 as attachment": attached("application/x-bzip2", bz2.compress(ZEROS)),
        "a compressed body": b"Content-Encoding: deflate\n\n" + zlib.compress(ZEROS),
        "wrong charset": b"Content-Type: text/plain; charset=utf-16\n\n" + b"\xff\xfe\xd8" * 30_000,
        "charset of nobody": b"Content-Type: text/plain; charset=x-none-99\n\n" + b"\x80" * 60_000,
    }


def every() -> dict[str, bytes]:
    """These, and those that the parser alone is shown."""
    return {**HOSTILE, **large()}
