"""The alphabet of text messages against the published table of 3GPP TS 23.038 (GSM 03.38)."""

import pygsm7
import pytest
from gsm0338 import Codec
from hypothesis import given, strategies as st

from relayd.core.saying.gsm7 import ONE_MESSAGE, ONE_PART, cut, segments, septets, spelled

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
        ("Łódź 5°", "Lodz 5?"),
        ("á í ó ú ç ñ ¿", "a i o u c ñ ¿"),
        ("e\u0301 \u200d😀 ½", "é ? 1/2"),
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


# Sources 8.1: 160 -> 1, 161 -> 2, 306 -> 2, 307 -> 3, 459 -> 3, 460 -> 4.
@pytest.mark.parametrize(
    ("letters", "parts"), [(0, 1), (160, 1), (161, 2), (306, 2), (307, 3), (459, 3), (460, 4)]
)
def test_a_longer_text_takes_parts_of_153(letters: int, parts: int) -> None:
    assert ONE_PART == (140 - 6) * 8 // 7 == 153
    assert segments("a" * letters) == parts


def test_a_character_of_two_septets_is_not_cut_in_half() -> None:
    assert segments("a" * 152 + "€" + "a" * 152) == 3
    assert segments("a" * 306) == 2


# A codec from the registry agrees on what a septet is.
@given(st.text(alphabet=TABLE + EXTENSION, max_size=200))
def test_septets_are_those_of_a_codec_of_the_registry(text: str) -> None:
    encoded, _ = Codec().encode(text)
    assert len(encoded) == septets(text)


# Packing vectors of Sources 8.1.
@pytest.mark.parametrize(
    ("text", "packed"),
    [
        ("hellohello", "E8329BFD4697D9EC37"),
        ("How are you?", "C8F71D14969741F977FD07"),
    ],
)
def test_a_packed_text_takes_as_many_octets_as_its_septets_fill(text: str, packed: str) -> None:
    assert len(packed) // 2 == -(-septets(text) * 7 // 8)
    assert pygsm7.encode_gsm7(text).upper() == packed
    assert pygsm7.decode_gsm7(packed, septets(text)) == text


# A second codec of the registry packs seven bits a septet (TS 23.038, 6.1.2.1) and reads them back.
@given(st.text(alphabet=TABLE + EXTENSION, min_size=1, max_size=160))
def test_what_was_packed_reads_back_and_fills_as_many_octets_as_counted(text: str) -> None:
    packed = pygsm7.encode_gsm7(text)
    assert len(packed) // 2 == -(-septets(text) * 7 // 8)
    assert pygsm7.decode_gsm7(packed, septets(text)) == text


@given(st.text(max_size=300))
def test_whatever_was_cut_to_one_message_packs_into_140_octets(text: str) -> None:
    assert len(pygsm7.encode_gsm7(cut(text, ONE_MESSAGE))) // 2 <= 140
