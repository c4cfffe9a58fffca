"""DEVELOPERS.md shows the tables as they are in the code."""

from tests.house.generated import PAGE, PARTS, filled


def test_the_tables_of_the_page_are_those_of_the_code() -> None:
    page = PAGE.read_text()
    for name in PARTS:
        assert f"<!-- generated: {name} -->" in page
    assert filled(page) == page, "run: python -m tests.house.generated"
