"""Colour is for terminals, and words say everything without it."""

import io

import pytest

from relayd.cli import out
from relayd.cli.out import Line, Tone


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("environment", "coloured"),
    [pytest.param({}, True, id="colour"), pytest.param({"NO_COLOR": "1"}, False, id="NO_COLOR")],
)
def test_a_terminal_gets_colour_unless_it_is_not_wanted(
    environment: dict[str, str], coloured: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    for key, value in environment.items():
        monkeypatch.setenv(key, value)
    terminal = Terminal()
    monkeypatch.setattr("sys.stdout", terminal)
    out.show([Line("ALARM [high] :bell: level", Tone.URGENT), Line("x" * 300)])
    assert "ALARM [high] :bell: level" in terminal.getvalue()
    assert "x" * 300 in terminal.getvalue()
    assert ("\x1b[1;31m" in terminal.getvalue()) is coloured


def test_a_file_gets_plain_lines(capsys: pytest.CaptureFixture[str]) -> None:
    out.show([Line("ALARM", Tone.URGENT), Line("")])
    assert capsys.readouterr().out == "ALARM\n\n"
