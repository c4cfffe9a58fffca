"""Values of each datatype, as the convention's text has them: section 'Payloads' and 'Formats'."""

import pytest
from hypothesis import given, strategies as st

from relayd.convention import payloads
from relayd.convention.description import DATATYPES
from relayd.convention.payloads import faults
from relayd.convention.schema import against

FINE = [
    ("integer", None, "0 -0 007 -9223372036854775808 9223372036854775807"),
    ("integer", "5:35", "5 35"),
    ("integer", ":10", "-1000 10"),
    ("integer", "2:6:2", "2 4 6"),
    ("integer", ":10:3", "10 7 1 -2"),
    ("float", None, "1 -1 1.5 .5 5. 1e3 1E-3 -1.5e-7 4.9e-324 1.7976931348623157e308 0e-999"),
    ("float", "10.123:15.123", "10.123 15.123"),
    ("float", "0:1:0.1", "0.1 0.3 0.7 1"),
    ("boolean", None, "true false"),
    ("color", "rgb,hsv,xyz", "rgb,100,100,100 rgb,0.5,255,0 hsv,300,50,75 xyz,0.25,0.34"),
    (
        "datetime",
        None,
        "2026-11-26T08:00:00Z 2026-11-26T08:00:00.123+01:00 20261126T080000Z 2026-11-26"
        " 2026-W48-4T08:00 2026W484 2026-330 2026330T08 2026-11-26T24:00 2026-11-26T23:59:60Z",
    ),
    ("duration", None, "PT12H5M46S PT5M PT0S PT1H PT1.5S PT100H"),
    ("json", None, '{} [] {"a":[1,2.5,null]}'),
]
WRONG = [
    ("integer", None, "- 1.0 +1 0x10 1_000 ١ 9223372036854775808 -9223372036854775809"),
    ("integer", "5:35", "4 36"),
    ("integer", "2:6:2", "3 8"),
    ("float", None, "- . e5 1e 1e+5 +1 1_0 nan inf -Infinity 1e309 1e-400 0x1p3 1.2.3"),
    ("float", "0:1:0.1", "0.15 1.1"),
    ("boolean", None, "True 1 0 on yes"),
    ("color", "rgb,xyz", "100,100,100 hsv,1,1,1 rgb,1,1 rgb,1,1,256 rgb,1,1,-1 xyz,1.1,0 rgb,1,1,"),
    (
        "datetime",
        None,
        "08:00 2026-13-01 2026-11-26T25:00 2026-11-26T24:01 2026-W54-1 2026-366 yesterday"
        " 2026-1126 2026-11-26T08:00:00+24:00 1800000000",
    ),
    ("duration", None, "PT P 5M PT5 PT5m P1D PT1M1H -PT5M PT5S1M"),
    ("json", None, '1 "x" null true {a:1} [NaN] {'),
]


def cases(table: list[tuple[str, str | None, str]]) -> list[tuple[str, str | None, str]]:
    return [(kind, form, each) for kind, form, texts in table for each in texts.split(" ")]


@pytest.mark.parametrize(("datatype", "form", "text"), cases(FINE))
def test_a_value_is_one(datatype: str, form: str | None, text: str) -> None:
    assert [*faults(text, datatype, form)] == []


@pytest.mark.parametrize(("datatype", "form", "text"), cases(WRONG))
def test_a_value_is_none(datatype: str, form: str | None, text: str) -> None:
    assert [*faults(text, datatype, form)] != []


@pytest.mark.parametrize("datatype", DATATYPES)
def test_an_empty_text_is_a_value_of_a_string_alone(datatype: str) -> None:
    assert [rule for rule, _ in faults("\0", datatype, "a")] == (
        [] if datatype == "string" else [datatype]
    )


def test_a_text_has_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(payloads, "LONGEST", 5)
    assert [*faults("12345", "string", None)] == []
    assert [*faults("123456", "string", None)] == [("string", "a text of 6 characters")]


SCHEMAS = [
    ({"type": "array", "items": {"type": "integer", "minimum": 2}}, [2, 3], [1]),
    ({"type": ["array", "object"]}, [], None),
    ({"required": ["a"]}, {"a": 1}, {"b": 1}),
    ({"properties": {"a": {"enum": [1, "x"]}}}, {"a": "x"}, {"a": True}),
    ({"properties": {"a": {"const": None}}}, {"a": None}, {"a": 0}),
    ({"additionalProperties": False, "properties": {"a": {}}}, {"a": 1}, {"a": 1, "b": 1}),
    ({"anyOf": [{"type": "array"}, {"type": "object"}]}, {}, "x"),
    ({"allOf": [{"minItems": 1}, {"maxItems": 2}]}, [1], [1, 2, 3]),
    ({"oneOf": [{"minItems": 1}, {"maxItems": 1}]}, [1, 2], [1]),
    ({"items": {"minLength": 1, "maxLength": 2}}, ["ab"], [""]),
    ({"items": {"type": "number", "maximum": 1}}, [0.5], [1.5]),
]


@pytest.mark.parametrize(("schema", "fits", "not_so"), SCHEMAS)
def test_a_value_fits_its_schema_or_not(schema: object, fits: object, not_so: object) -> None:
    assert [*against(fits, schema)] == []
    assert [*against(not_so, schema)] != []


@pytest.mark.parametrize(
    "schema", [True, {}, {"type": "unheard-of"}, {"minimum": "x"}, {"$ref": "#"}]
)
def test_a_schema_that_cannot_be_read_lets_everything_pass(schema: object) -> None:
    assert [*against([1], schema)] == []


FORMATS = st.none() | st.text("0123456789:.-e,ab", max_size=12)


@given(st.text(max_size=30) | st.text("0123456789.-eET:PHMSWZ+,", max_size=30), FORMATS)
def test_no_text_raises(text: str, form: str | None) -> None:
    for datatype in DATATYPES:
        for _, wrong in faults(text, datatype, form):
            assert wrong.isprintable() or form is not None
