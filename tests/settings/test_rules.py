"""What does not fit together is told with its line, the reason and what to do."""

from pathlib import Path

import pytest

from tests.settings.plans import Case, changed, refusals

BETWEEN = [
    Case(
        "unknown call list of the unit",
        'call_list = "all"',
        'call_list = "al"',
        [
            'plan.toml:5: unit.call_list: there is no call list "al"; one of "all"; did you mean "all"?'
        ],
    ),
    Case(
        "unknown call list of a panel",
        'name = "Tank"',
        'name = "Tank"\ncall_list = "night"',
        ['plan.toml:11: panel.call_list: there is no call list "night"; one of "all"'],
    ),
    Case(
        "unknown person in a step",
        '["anna", "ben"]',
        '["ana", "ben"]',
        [
            'plan.toml:47: call_list.step.tell: there is no person "ana"; one of "anna", "ben"; did you mean "anna"?'
        ],
    ),
    Case(
        "a person twice in a step",
        '["anna", "ben"]',
        '[\n  "ben",\n  "ben",\n]',
        ['plan.toml:49: call_list.step.tell: "ben" is named twice in this step; once is enough'],
    ),
    Case(
        "two persons of one id",
        'id = "ben"',
        'id = "anna"',
        [
            'plan.toml:34: person.id: "anna" is used twice, first on line 25; each person needs an id of its own',
            'plan.toml:47: call_list.step.tell: there is no person "ben"; one of "anna"',
        ],
    ),
    Case(
        "one line twice",
        "line = 27",
        "line = 17",
        [
            'plan.toml:22: panel.input.line: 17 of chip "board" is used twice, first on line 15; '
            "each input needs a line of its own"
        ],
    ),
    Case(
        "no chip",
        'chip = "board"\n',
        "",
        [
            "plan.toml:12: panel.input.chip: is missing; give the chip's label here, or for all inputs in [unit]",
            "plan.toml:19: panel.input.chip: is missing; give the chip's label here, or for all inputs in [unit]",
            "plan.toml:51: panel.input.chip: is missing; give the chip's label here, or for all inputs in [unit]",
            "plan.toml:55: unit.input.chip: is missing; give the chip's label here, or for all inputs in [unit]",
            "plan.toml:59: unit.input.chip: is missing; give the chip's label here, or for all inputs in [unit]",
        ],
    ),
    Case(
        "two inputs for one means",
        'means = "alarm-power"\nline = 27',
        'means = "high-level"\nline = 27\nname = "second"\nin_alarm = "open"',
        [
            'plan.toml:21: panel.input.means: "high-level" is used twice, first on line 14; '
            "a panel has one input for each means"
        ],
    ),
    Case(
        "two inputs of one name",
        "line = 27",
        'line = 27\nname = "high-level"',
        [
            'plan.toml:23: panel.input.name: "high-level" is used twice, first on line 13; '
            "each input of a panel needs a name of its own"
        ],
    ),
    Case(
        "a panel without a level contact",
        'means = "high-level"\nline = 17\nin_alarm = "open"\nunpowered = "open"\ncontact_follows = "lamp"',
        'means = "pump-power"\nline = 17',
        [
            'plan.toml:13: panel.input: has none with means = "high-level" or "common-alarm"; '
            "without one no high level is ever told"
        ],
    ),
    Case(
        "a level contact that nobody described",
        'in_alarm = "open"\n',
        "",
        [
            'plan.toml:13: panel.input.in_alarm: is missing; "open" or "closed": where the contact stands in an '
            "alarm, as a contact test shows"
        ],
    ),
    Case(
        "power that closes on loss",
        "line = 27",
        'line = 27\nin_alarm = "closed"',
        [
            'plan.toml:23: panel.input.in_alarm: "closed" is not possible for alarm-power; wire it so that the '
            'supply holds the contact closed: a cut wire then tells of itself; leave it out or write "open"'
        ],
    ),
    Case(
        "a level's key on a power input",
        "line = 27",
        'line = 27\nunpowered = "open"',
        [
            "plan.toml:23: panel.input.unpowered: says nothing about alarm-power; it belongs to high-level, "
            "high-high-level and common-alarm; take it out"
        ],
    ),
    Case(
        "the way to the alarm slower than the way back",
        "line = 17",
        'line = 17\nopen_time = "200 ms"',
        [
            'plan.toml:16: panel.input.open_time: "200 ms" is longer than close_time ("50 ms"); at most as long: '
            "this is the way to the alarm, and a contact that is let go faster than it is believed can chatter unheard"
        ],
    ),
    Case(
        "the way to a supply's loss slower than the way back",
        "line = 27",
        'line = 27\nclose_time = "40 ms"',
        [
            'plan.toml:20: panel.input.open_time: "50 ms" is longer than close_time ("40 ms"); at most as long: '
            "this is the way to the alarm, and a contact that is let go faster than it is believed can chatter unheard"
        ],
    ),
    Case(
        "on_delay within the coincidence window",
        "line = 17",
        'line = 17\non_delay = "5 s"',
        [
            'plan.toml:16: panel.input.on_delay: "5 s" is too short; at least 5.5 s unless unpowered = "holds": '
            "a contact moves within 5 s of a loss of its power, and that is no level"
        ],
    ),
    Case(
        "off_delay within the coincidence window",
        "line = 17",
        'line = 17\noff_delay = "5.4 s"',
        [
            'plan.toml:16: panel.input.off_delay: "5400 ms" is too short; at least 5.5 s unless unpowered = '
            '"holds": a contact moves within 5 s of a loss of its power, and that is no level'
        ],
    ),
    Case(
        "on_delay longer than a basin lasts",
        "line = 17",
        'line = 17\non_delay = "2 min"',
        [
            'plan.toml:16: panel.input.on_delay: "2 min" is too long for high-level; at most 60 s: '
            "a small basin is full soon after that"
        ],
    ),
    Case(
        "the first step later",
        'after = "0 s"',
        'after = "1 min"',
        [
            'plan.toml:42: call_list.step.after: "1 min" is not "0 s"; the first step is told at once'
        ],
    ),
    Case(
        "steps out of order",
        'after = "8 min"',
        'after = "0 s"',
        [
            'plan.toml:46: call_list.step.after: "0 s" is not later than the "0 s" before it; '
            "put the steps in the order of their times"
        ],
    ),
    Case(
        "a step for nobody",
        'tell = ["anna"]',
        "tell = []",
        ['plan.toml:43: call_list.step.tell: names nobody; the ids of persons, such as ["anna"]'],
    ),
    Case(
        "a call list without steps",
        "[mqtt]",
        '[[call_list]]\nid = "night"\n\n[mqtt]',
        [
            "plan.toml:49: call_list.step: is missing; write a [[call_list.step]] that says who is told, "
            "or tell with the ids of persons"
        ],
    ),
    Case(
        "a person who cannot be reached",
        'channel = [{ name = "push", address = "json://push.example.org", wakes = true }]\n',
        "",
        [
            "plan.toml:33: person.channel: is missing; this person is on a call list and cannot be reached "
            "without a [[person.channel]]"
        ],
    ),
    Case(
        "two channels of one name",
        'json://push.example.org", wakes = true }',
        'json://push.example.org", wakes = true },\n  { name = "push", address = "json://a.example.org" }',
        [
            'plan.toml:37: person.channel.name: "push" is used twice, first on line 36; '
            "each channel of a person needs a name of its own"
        ],
    ),
    Case(
        "a channel without an address",
        'address = "mailto://mail.example.org"\n',
        "",
        [
            "plan.toml:29: person.channel.address: is missing; an address, or address_from with the name of the "
            "file that holds it"
        ],
    ),
    Case(
        "something that is no address",
        "mailto://mail.example.org",
        "hunter2@mail.example.org",
        [
            "plan.toml:31: person.channel.address: is no address (not shown); write scheme://… without blanks, such as mailto://…"
        ],
    ),
    Case(
        "commands without a broker",
        'host = "broker.example.org"',
        "commands = true",
        [
            "plan.toml:49: mqtt.host: is missing; the broker's host name or address: commands = true needs a "
            "broker that brings them"
        ],
    ),
    Case(
        "a password for nobody",
        'host = "broker.example.org"',
        'host = "broker.example.org"\npassword_from = "pass"',
        ["plan.toml:49: mqtt.user: is missing; password_from is the password of a user"],
    ),
    Case(
        "a certificate that is not there",
        'host = "broker.example.org"',
        'host = "broker.example.org"\nca = "/nowhere/ca.pem"',
        [
            "plan.toml:51: mqtt.ca: the certificate of the broker's authority cannot be read: "
            "No such file or directory"
        ],
    ),
]


@pytest.mark.parametrize("case", BETWEEN, ids=lambda case: case.name)
def test_what_does_not_fit_together_is_told_with_its_line_and_what_to_do(
    tmp_path: Path, case: Case
) -> None:
    (tmp_path / "pass").write_text("a password\n")
    (tmp_path / "pass").chmod(0o600)
    assert refusals(tmp_path, changed((case.old, case.new))) == case.says
