"""The alphabet of text messages: what fits into one, counted in septets.

GSM 03.38 (3GPP TS 23.038) default alphabet and its extension table; a character of the extension
counts twice, and 160 septets make one message. Values from memory of the standard's tables.
"""

ONE_MESSAGE = 160

_BASIC = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_EXTENDED = "^{}\\[~]|€\f"
_ALIKE = str.maketrans(
    {"’": "'", "‘": "'", "“": '"', "”": '"', "–": "-", "—": "-", "…": "...", "\t": " "}
)


def septets(text: str) -> int:
    """How many septets `text` takes; raises ValueError for a character outside the alphabet."""
    total = 0
    for character in text:
        if character in _BASIC:
            total += 1
        elif character in _EXTENDED:
            total += 2
        else:
            raise ValueError(f"{character!r} is not in the alphabet of text messages")
    return total


def spelled(text: str) -> str:
    """`text` with what the alphabet lacks replaced: look-alikes where there are any, else '?'."""
    plain = text.translate(_ALIKE)
    return "".join(each if each in _BASIC or each in _EXTENDED else "?" for each in plain)


def cut(text: str, most: int) -> str:
    """`text`, spelled, cut to at most `most` septets; a cut shows as '..'."""
    plain = spelled(text)
    if septets(plain) <= most:
        return plain
    while plain and septets(plain) > most - 2:
        plain = plain[:-1]
    return plain.rstrip() + ".."
