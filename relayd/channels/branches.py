"""Topics and what they hold, kept device by device, so that what did not change is never looked at.

In: topics. Out: a mapping of topics like any other, that can also give and replace the branch of
one device. Two mappings that share a branch (the same object) hold the same there. Knows nothing
of what a topic means, but that the third level names the device.
"""

from collections.abc import Iterator, Mapping, MutableMapping
from typing import TypeVar

V = TypeVar("V")

ROOT = "homie/5"
ELSEWHERE = ""
"""The branch of the topics that belong to no device."""


def owner(topic: str) -> str:
    """The device that a topic belongs to; ELSEWHERE where it stands outside the devices' tree."""
    if not topic.startswith("homie/5/"):
        return ELSEWHERE
    end = topic.find("/", 8)
    return topic[8:] if end < 0 else topic[8:end]


class Branches(MutableMapping[str, V]):
    """A mapping of topics in branches. Whoever hands one on no longer changes it."""

    __slots__ = ("_branches",)

    def __init__(self, topics: Mapping[str, V] | None = None) -> None:
        self._branches: dict[str, dict[str, V]] = {}
        for topic, value in (topics or {}).items():
            self[topic] = value

    @classmethod
    def of(cls, topics: Mapping[str, V]) -> "Branches[V]":
        """These topics in branches; the same object where they already are."""
        return topics if isinstance(topics, Branches) else cls(topics)

    def __getitem__(self, topic: str) -> V:
        return self._branches[owner(topic)][topic]

    def __setitem__(self, topic: str, value: V) -> None:
        self._branches.setdefault(owner(topic), {})[topic] = value

    def __delitem__(self, topic: str) -> None:
        del self._branches[owner(topic)][topic]

    def __iter__(self) -> Iterator[str]:
        for branch in self._branches.values():
            yield from branch

    def __len__(self) -> int:
        return sum(len(each) for each in self._branches.values())

    def __repr__(self) -> str:
        return f"Branches({dict(self)!r})"

    def names(self) -> list[str]:
        """The devices (and ELSEWHERE) of which anything is held."""
        return [name for name, branch in self._branches.items() if branch]

    def branch(self, device: str) -> Mapping[str, V]:
        """What is held of one device: the very object, not a copy; nothing where there is none."""
        return self._branches.get(device) or {}

    def shares(self, other: "Branches[V]", device: str) -> bool:
        """Whether both hold the very same branch of that device."""
        mine = self._branches.get(device)
        return mine is not None and mine is other._branches.get(device)

    def grafted(self, device: str, branch: dict[str, V]) -> "Branches[V]":
        """A new mapping with that branch in the place of the device's; all others are shared."""
        made: Branches[V] = Branches()
        made._branches = {**self._branches, device: branch}
        return made

    def plus(self, topics: Mapping[str, V]) -> "Branches[V]":
        """A new mapping with these topics added; branches that none of them touches are shared."""
        made: Branches[V] = Branches()
        made._branches = dict(self._branches)
        for device in dict.fromkeys(owner(each) for each in topics):
            made._branches[device] = dict(self._branches.get(device, {}))
        for topic, value in topics.items():
            made[topic] = value
        return made
