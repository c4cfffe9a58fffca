"""The rules, each with the section of the convention's text that it comes from, and how to mend it.

In: nothing. Out: `RULES`, and `broken`, which makes a finding. Knows nothing of how a breach is seen.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Force(StrEnum):
    """How strongly the text asks for it."""

    MUST = "must"
    SHOULD = "should"


@dataclass(frozen=True, slots=True)
class Rule:
    """The section of the text, what to do instead, and how strongly the text asks for it."""

    section: str
    mend: str
    force: Force = Force.MUST


@dataclass(frozen=True, slots=True)
class Finding:
    """One breach: where, of which rule, what is wrong, how to mend it."""

    topic: str
    rule: str
    wrong: str

    @property
    def section(self) -> str:
        """The heading in the convention's text."""
        return RULES[self.rule].section

    @property
    def mend(self) -> str:
        """What to do instead."""
        return RULES[self.rule].mend

    @property
    def force(self) -> Force:
        """How strongly the text asks for it."""
        return RULES[self.rule].force

    def __str__(self) -> str:
        return f"{self.topic}: {self.wrong} ({self.force}; {self.section}). {self.mend}"


def broken(rule: str, topic: str, wrong: str) -> Finding:
    """A finding of a rule that exists; the error of a rule that does not is a KeyError."""
    RULES[rule]
    return Finding(topic, rule, wrong)


DEVICE, NODE, PROPERTY = "Device Attributes", "Node Attributes", "Property Attributes"
LIFE, TREE, HIERARCHY = "Device Lifecycle", "Topology and Structure", "Device hierarchy"
RETAINED, COMMAND = "QoS and retained messages", "Property command topic"
SHOULD = Force.SHOULD

RULES: Mapping[str, Rule] = {
    # Topics.
    "base": Rule("Domain and Root Topic", "Begin every topic with one level of your own and '5'."),
    "topic-id": Rule("Topic IDs", "Use only a to z, 0 to 9 and hyphens in a level."),
    "topic-unknown": Rule(TREE, "Use device, node and property, or an attribute of the text."),
    "attribute-unknown": Rule(DEVICE, "Use $state, $description, $log or $alert."),
    "property-attribute": Rule(PROPERTY, "A property has one attribute only: $target."),
    "undescribed": Rule(PROPERTY, "Describe it in $description, or clear the topic."),
    # Payloads.
    "utf-8": Rule("Payloads", "Send text in UTF-8."),
    "bom": Rule("Payloads", "Leave the byte order mark out."),
    "zero-byte": Rule("Empty string values", "Only a text property may hold an empty text."),
    "empty-payload": Rule("Empty string values", "An empty text is one byte 0, not no byte."),
    "string": Rule("String", "A text has at most 268,435,456 characters."),
    "integer": Rule("Integer", "Send digits, with a '-' before them at most, within 64 bits."),
    "float": Rule("Float", "Send digits with '-', '.', 'e' or 'E' only, and a finite number."),
    "boolean": Rule("Boolean", "Send true or false."),
    "enum": Rule("Enum", "Send one of the values of the format, letter by letter."),
    "color": Rule("Color", "Send a type of the format and its numbers, within their ranges."),
    "datetime": Rule("DateTime", "Send a date and time as ISO 8601 has it."),
    "duration": Rule("Duration", "Send PTxHxMxS, at least one of the three."),
    "json": Rule("JSON", "Send a JSON object or array."),
    "json-schema": Rule("Formats", "Send what the schema in the format allows."),
    "range": Rule("Formats", "Send a number between the format's minimum and maximum."),
    "step": Rule("Formats", "Send the nearest step, counted from the minimum, else the maximum."),
    # The device.
    "state-missing": Rule(LIFE, "Publish $state first, or clear what is left of the device."),
    "state": Rule(LIFE, "Use init, ready, disconnected, sleeping or lost."),
    "description-missing": Rule(DEVICE, "Publish $description."),
    "description-json": Rule(DEVICE, "$description is one JSON object; no key comes twice."),
    "homie-version": Rule(DEVICE, "Write \"homie\" as '5.' and the minor version."),
    "field-missing": Rule(DEVICE, "Add the field."),
    "field-type": Rule(DEVICE, "Give the field the type that the text asks for; null is none."),
    "field-unknown": Rule(DEVICE, "Leave the field out: the text has none of that name."),
    "node-id": Rule("Nodes", "Use only a to z, 0 to 9 and hyphens as a node's key."),
    "property-id": Rule("Properties", "Use only a to z, 0 to 9 and hyphens as a property's key."),
    "extension": Rule("Extensions", "Name an extension by a reversed domain; 'homie' is reserved."),
    # The family.
    "root-of-root": Rule(DEVICE, "Leave 'root' and 'parent' out of the root device."),
    "root-missing": Rule(DEVICE, "Name the root device in each device below it."),
    "root-wrong": Rule(HIERARCHY, "'root' names the device at the very top of this tree."),
    "parent-missing": Rule(DEVICE, "Name the parent where it is not the root device."),
    "parent-unknown": Rule(HIERARCHY, "Publish the parent, or remove this device."),
    "child-unknown": Rule(HIERARCHY, "Publish the child, or take it out of 'children'."),
    "child-unnamed": Rule(HIERARCHY, "Name the device in its parent's 'children'."),
    "child-twice": Rule(HIERARCHY, "Name each child once, in one parent."),
    "loop": Rule(HIERARCHY, "No device may stand above itself."),
    # The property.
    "datatype": Rule(PROPERTY, "Use one of the nine datatypes of the text."),
    "format-missing": Rule("Formats", "An enum and a color need a format."),
    "format-number": Rule("Formats", "Write [min]:[max][:step], the step above 0."),
    "format-enum": Rule("Formats", "List different, not empty values, with commas between."),
    "format-color": Rule("Formats", "List rgb, hsv or xyz, each once."),
    "format-boolean": Rule("Formats", "Give two different labels, that for false first."),
    "format-json": Rule("Formats", "Write a JSON schema as a text."),
    "format-undefined": Rule("Formats", "Leave it out: the text has no format for this datatype."),
    "unit": Rule("Units", "Use the exact characters of the text's list.", SHOULD),
    "value-missing": Rule(PROPERTY, "Publish a value, retained, before the device is ready."),
    "target-missing": Rule(PROPERTY, "Publish $target with every value, or never."),
    "target-echo": Rule("Target attribute", "Publish the very bytes that were set."),
    # Flags.
    "not-retained": Rule(RETAINED, "Publish it retained."),
    "event-retained": Rule(RETAINED, "Publish a property that is not retained without the flag."),
    "event-qos": Rule(RETAINED, "Publish a property that is not retained with QoS 0."),
    "set-retained": Rule(RETAINED, "Publish to 'set' without the retain flag, and clear it."),
    "set-undescribed": Rule(COMMAND, "Publish to 'set' of a settable property only."),
    "set-qos": Rule(RETAINED, "Command what is not retained with QoS 0.", SHOULD),
    # Alerts, log, broadcast.
    "alert": Rule("Alert topic", "Publish $alert/<id> and nothing below it."),
    "alert-id": Rule("Alert topic", "Use only a to z, 0 to 9 and hyphens as an alert's id."),
    "log": Rule("Logging", "Publish $log/<level> and nothing below it."),
    "log-level": Rule("Logging", "Use debug, info, warn, error or fatal."),
    "log-retained": Rule("Logging", "Publish log messages without the retain flag."),
    "broadcast": Rule("Broadcast Topic", "Name a subtopic below $broadcast."),
    "broadcast-retained": Rule("Broadcast Topic", "Publish it without the flag.", SHOULD),
    # The order of things.
    "description-state": Rule(DEVICE, "Go to init first, then change $description."),
    "description-version": Rule(DEVICE, "Give a changed description another version."),
    "ready-early": Rule(LIFE, "Say ready after the description and all values are there."),
    "value-cleared": Rule("Device reconfiguration", "Take it out of $description first."),
    "removal-order": Rule(LIFE, "Clear $state first, then everything else."),
    "child-late": Rule("Adding children", "Publish the child, then name it.", SHOULD),
    "will": Rule("Last Will", "Set the will of the root device: $state lost, retained."),
}
