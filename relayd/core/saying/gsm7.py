"""The alphabet of text messages: what fits into one, counted in septets.

In and out: text. GSM 03.38 (3GPP TS 23.038) default alphabet and its extension table; a character
of the extension counts twice, and 160 septets make one message, 153 each part of a longer one (its
header takes 6 octets). Knows nothing of alarms or people.
"""

import unicodedata

ONE_MESSAGE = 160
ONE_PART = 153
"""Septets of one part of a message in several parts."""

_BASIC = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_EXTENDED = "^{}\\[~]|€\f"
_PLAIN = frozenset(_BASIC)
"""Nearly every text is made of these alone: asked at once, and not letter by letter."""
_ALIKE = {
    **{"’": "'", "‘": "'", "`": "'", "´": "'", "“": '"', "”": '"', "„": '"', "«": '"', "»": '"'},
    **{"–": "-", "—": "-", "−": "-", "…": "...", "\t": " ", "\u00a0": " ", "⁄": "/"},
    **{"Ł": "L", "ł": "l", "Đ": "D", "đ": "d", "Ð": "D", "ð": "d", "Þ": "Th", "þ": "th"},
    **{"Œ": "OE", "œ": "oe", "ı": "i", "ẞ": "SS"},
}
"""What stands for a letter or sign outside the alphabet that does not come apart by itself."""
_SILENT = ("Mn", "Me", "Cf")
"""Unicode categories of marks that stand on another letter, and of signs that nobody sees."""


def septets(text: str) -> int:
    """How many septets `text` takes; raises ValueError for a character outside the alphabet."""
    if _PLAIN.issuperset(text):
        return len(text)
    total = 0
    for character in text:
        if character in _BASIC:
            total += 1
        elif character in _EXTENDED:
            total += 2
        else:
            raise ValueError(f"{character!r} is not in the alphabet of text messages")
    return total


def segments(text: str) -> int:
    """How many text messages `text` takes; a character of two septets is never cut in half."""
    if septets(text) <= ONE_MESSAGE:
        return 1
    parts, room = 1, ONE_PART
    for character in text:
        size = 2 if character in _EXTENDED else 1
        if size > room:
            parts, room = parts + 1, ONE_PART
        room -= size
    return parts


def spelled(text: str) -> str:
    """`text` with what the alphabet lacks replaced by the nearest inside it, else by '?'."""
    if _PLAIN.issuperset(text):
        return text
    return "".join(_letter(each) for each in unicodedata.normalize("NFC", text))


def _letter(character: str) -> str:
    if character in _BASIC or character in _EXTENDED:
        return character
    if character in _ALIKE:
        return _ALIKE[character]
    apart = unicodedata.normalize("NFKD", character)
    if apart != character:
        return "".join(_letter(each) for each in apart)
    return "" if unicodedata.category(character) in _SILENT else "?"


def cut(text: str, most: int) -> str:
    """`text`, spelled, cut to at most `most` septets; a cut shows as '..'."""
    plain = spelled(text)
    if septets(plain) <= most:
        return plain
    while plain and septets(plain) > most - 2:
        plain = plain[:-1]
    return plain.rstrip() + ".."
