"""The alphabet of text messages against the published table of 3GPP TS 23.038 (GSM 03.38)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relayd.core.gsm7 import ONE_MESSAGE, cut, septets, spelled

# Row by row of the default alphabet; the table was read. ESC (0x1B) is no character.
TABLE = (
    "@£$¥èéùìòÇ\nØø\rÅå"
    "Δ_ΦΓΛΩΠΨΣΘΞÆæßÉ"
    " !\"#¤%&'()*+,-./"
    "0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNO"
    "PQRSTUVWXYZÄÖÑÜ§"
    "¿abcdefghijklmno"
    "pqrstuvwxyzäöñüà"
)
EXTENSION = "\f^{}\\[~]|€"


def test_every_character_of_the_table_takes_one_septet() -> None:
    assert len(TABLE) == 127
    assert {each for each in TABLE if septets(each) != 1} == set()


def test_every_character_of_the_extension_takes_two() -> None:
    assert {each for each in EXTENSION if septets(each) != 2} == set()


@pytest.mark.parametrize("text", ["`", "°", "ç", "á", "’", "–", "\t", "😀"])
def test_what_is_not_in_the_alphabet_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not in the alphabet"):
        septets(f"hello{text}")


@pytest.mark.parametrize(
    ("text", "count"),
    [("hellohello", 10), ("€[]{}", 10), ("How are you?", 12), ("", 0), ("a" * 160, 160)],
)
def test_texts_are_counted_in_septets(text: str, count: int) -> None:
    assert septets(text) == count


def test_one_message_is_140_octets() -> None:
    assert ONE_MESSAGE == 140 * 8 // 7 == 160


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("Anna’s “tank” – behind…", 'Anna\'s "tank" - behind...'),
        ("Brünnlein 7 €", "Brünnlein 7 €"),
        ("Łódź 5°", "??d? 5?"),
        ("a\tb", "a b"),
    ],
)
def test_what_the_alphabet_lacks_is_spelled_otherwise(text: str, plain: str) -> None:
    assert spelled(text) == plain


@pytest.mark.parametrize(
    ("text", "most", "left"),
    [
        ("short", 5, "short"),
        ("longer", 5, "lon.."),
        ("two words", 6, "two.."),
        ("€€€", 6, "€€€"),
        ("€€€", 5, "€.."),
    ],
)
def test_a_cut_shows_and_fits(text: str, most: int, left: str) -> None:
    assert cut(text, most) == left


@given(st.text(max_size=300), st.integers(2, 160))
def test_whatever_is_cut_fits_and_is_in_the_alphabet(text: str, most: int) -> None:
    assert septets(cut(text, most)) <= most
