"""What a mail says: the writer's own first line alone acts, and a machine's mail never does."""

import pytest

from relayd.answering.words import understood
from relayd.mailbox.mail import CODES, LONGEST_LINE, read
from tests.mailbox.mails import CODE, ORIGINAL, answer

MARKED = "\n".join(f"> {each}" for each in ORIGINAL.splitlines())
HEAD = "From: Anna <anna@example.org>\nMessage-ID: <a@example.org>\nSubject: Re: HIGH LEVEL\n"


def plain(body: str, head: str = "") -> bytes:
    return f"{HEAD}{head}\n{body}".encode()


REPLIES = {
    "words above, marked below": (
        f"seen\n\nOn Mon the unit <u@example.org> wrote:\n{MARKED}",
        "seen",
    ),
    "words below": (
        f"On Mon the unit <u@example.org>\nwrote:\n{MARKED}\n\ntaken 2 h\n",
        "taken 2 h",
    ),
    "an original without marks": (
        f"taken\n\n-----Original Message-----\nFrom: the unit\nSent: Mon\n{ORIGINAL}",
        "taken",
    ),
    "blank lines first": (f"\r\n \r\nOK\r\n\r\n{MARKED}", "OK"),
    "a Spanish program": (
        f"visto\n\nEl lun, la unidad <u@example.org> escribió:\n{MARKED}",
        "visto",
    ),
    "a signature": ("seen\n-- \ntaken", "seen"),
}


@pytest.mark.parametrize(("body", "line"), REPLIES.values(), ids=REPLIES)
def test_the_writer_s_own_first_line_counts(body: str, line: str) -> None:
    found = read(plain(body))
    assert found.line == line
    assert understood(found.line, found.codes) is not None


EMPTY = {
    "nothing but marked lines": MARKED,
    "an attribution and an original without marks": f"On Mon the unit wrote:\n{ORIGINAL}\nseen\ntaken",
    "a divider": f"-----Original Message-----\nseen\n{ORIGINAL}",
    "a line and an original": f"________________\nFrom: the unit\nseen\n{ORIGINAL}",
    "a marked answer of before": f"> seen\n> taken 14:00\n{MARKED}",
    "the original as it came": ORIGINAL,
    "a signature alone": f"-- \nseen\n{MARKED}",
    "nothing": "",
}


@pytest.mark.parametrize("body", EMPTY.values(), ids=EMPTY)
def test_a_quoted_message_never_acts(body: str) -> None:
    assert understood(read(plain(body)).line, (CODE,)) is None


AUTOMATIC = {
    "RFC 3834, replied": "Auto-Submitted: auto-replied\n",
    "RFC 3834, generated with a comment": "Auto-Submitted: auto-generated; owner=x\n",
    "RFC 3834, a word to come": "AUTO-SUBMITTED: auto-other\n",
    "RFC 3464, a report": "Content-Type: multipart/report; boundary=x; report-type=disposition\n",
    "an empty envelope": "Return-Path: <>\n",
    "bulk": "Precedence: bulk\n",
    "a list's precedence": "Precedence: LIST\n",
    "RFC 2919, a list": "List-Id: <pumps.example.org>\n",
    "RFC 2369, a list": "List-Unsubscribe: <mailto:off@example.org>\n",
    "an old responder": "X-Autoreply: yes\n",
}


@pytest.mark.parametrize("head", AUTOMATIC.values(), ids=AUTOMATIC)
def test_a_machine_s_mail_is_known_as_such(head: str) -> None:
    assert read(plain(f"seen\n{MARKED}", head)).automatic


def test_a_daemon_s_mail_is_a_machine_s() -> None:
    assert read(answer("seen", sender="MAILER-DAEMON@example.org")).automatic
    assert read(answer("seen", sender="no-reply@example.org")).automatic


def test_a_person_s_mail_is_not() -> None:
    assert (
        read(plain("seen", "Auto-Submitted: no\nReturn-Path: <anna@example.org>\n")).automatic == ""
    )


def test_a_code_is_found_where_it_is_named_in_a_subject_and_in_the_first_line() -> None:
    assert read(plain(f"seen\n{MARKED}")).codes == (CODE,)
    assert read(plain(f"{CODE.upper()} OK")).codes == (CODE,)
    subject = HEAD.replace("Re:", f"{CODE} Re:")
    assert read(f"{subject}\nseen".encode()).codes == (CODE,)
    assert read("Subject: x\n\nvisto\n> Código k7m2p9xd".encode()).codes == (CODE,)


def test_a_word_a_date_and_a_piece_of_an_id_are_no_codes() -> None:
    assert read(plain("seen\nreserved 20261128 a-k7m2p9xd k7m2p9xd-a\n> fb2c9d1e77\n")).codes == ()


def test_only_so_many_codes_are_looked_at() -> None:
    many = " ".join(f"a{number:07d}" for number in range(1000))
    assert len(read(plain(many)).codes) == CODES


def test_a_mail_of_two_senders_or_none_is_nobody_s() -> None:
    assert read(b"Subject: x\n\nseen").sender == ""
    assert read(b"From: anna@example.org\nFrom: eve@example.org\n\nseen").sender == ""
    assert read(b"From: anna@example.org <eve@example.org>\n\nseen").sender == "eve@example.org"


PART = 'Content-Type: multipart/alternative; boundary="b"\n'
BODIES: dict[str, bytes] = {
    "base64": plain("c2Vlbgo=", "Content-Transfer-Encoding: base64\n"),
    "quoted-printable": plain("se=65n", "Content-Transfer-Encoding: quoted-printable\n"),
    "another charset": plain("seen", 'Content-Type: text/plain; charset="utf-16"\n'),
    "no charset that there is": plain("seen", 'Content-Type: text/plain; charset="zlib"\n'),
    "two forms": plain(
        "--b\nContent-Type: text/plain\n\nseen\n--b\nContent-Type: text/html\n\n<b>taken</b>\n--b--",
        PART,
    ),
    "NULs": plain("s\0een\0"),
    "a mark of byte order": plain("\ufeffseen"),
    "an end in the middle of a part": plain("--b\nContent-Type: text/plain\n\nseen\n", PART),
}


@pytest.mark.parametrize("raw", BODIES.values(), ids=BODIES)
def test_an_answer_is_read_however_it_is_wrapped(raw: bytes) -> None:
    assert read(raw).line == "seen"


HTML = {
    "a paragraph": "<p>seen</p>",
    "inline marks": "<html><body><div>s<b>ee</b>n</div></body></html>",
    "a line's end": "seen<br>there by two",
    "entities": "<p>&#115;een&nbsp;</p>",
    "a head": "<head><title>taken</title><style>p { x: taken }</style></head><p>seen",
    "a script": "<script>'taken'</script><div>seen</div>",
    "a quote below": "<div>seen</div><blockquote><p>taken</p></blockquote>",
    "a quote above": "<blockquote>taken<br>taken</blockquote><p>seen</p>",
    "a quote by name": '<div class="x_quoted">taken <div>taken</div></div><div>seen</div>',
    "an attribution": "<div>seen</div><div>On Mon the unit wrote:</div><div>taken</div>",
    "a rule": "<div>seen</div><hr><div>taken</div>",
    "no ends": "<div><p>seen<p>thanks",
    "ends of nothing": "</div></p>seen</blockquote>",
    "a quote that never ends": "<p>seen</p><blockquote><div>taken</div><p>taken",
}


@pytest.mark.parametrize("body", HTML.values(), ids=HTML)
def test_an_answer_that_came_as_html_alone_is_read(body: str) -> None:
    assert read(plain(body, "Content-Type: text/html\n")).line == "seen"


NOTHING_OF_ONES_OWN = {
    "a quote": "<blockquote>seen</blockquote>",
    "quotes in quotes": "<blockquote><blockquote>a</blockquote>seen</blockquote>",
    "an ended element in a quote": "<blockquote><div><p>a</div>seen</blockquote>",
    "a rule first": "<hr><div>seen</div>",
    "a rule in a quote": "<blockquote><hr/>seen</blockquote>",
    "what nobody sees": "<template>seen</template><!-- seen -->",
    "a picture": "<img alt='seen' src='https://example.org/seen.png'>",
}


@pytest.mark.parametrize("body", NOTHING_OF_ONES_OWN.values(), ids=NOTHING_OF_ONES_OWN)
def test_a_quote_in_html_never_acts(body: str) -> None:
    found = read(plain(body, "Content-Type: text/html\n"))
    assert understood(found.line, (CODE,)) is None


def test_html_that_is_nested_like_no_mail_is_refused() -> None:
    with pytest.raises(ValueError, match="nested too deeply"):
        read(plain("<div>" * 5000, "Content-Type: text/html\n"))


def test_an_attachment_says_nothing() -> None:
    assert read(plain("seen", "Content-Type: application/octet-stream\n")).line == ""


def test_what_comes_out_is_short_whatever_went_in() -> None:
    found = read(plain("x" * 50_000, "X-Filler: " + "y" * 20_000 + "\n"))
    assert len(found.line) == LONGEST_LINE
    assert len(found.id) == 32
