"""Which gpiochip is meant: chips change their numbers, so they are found by their labels."""

import errno
from pathlib import Path

import gpiod


def find_chip(name: str) -> str:
    """The path of the chip that has this label; a path under /dev stands for itself.

    Raises OSError where no chip has the label, where two have it, or where it may not be read.
    """
    if name.startswith("/dev/"):
        return name
    nodes = sorted({node.resolve() for node in Path("/dev").glob("gpiochip*")})
    labels = {str(node): _label(node) for node in nodes}
    found = [path for path, label in labels.items() if label == name]
    if len(found) == 1:
        return found[0]
    if found:
        raise OSError(errno.ENOTUNIQ, f"{' and '.join(found)} have the same label: give the path")
    closed = [path for path, label in labels.items() if label is None]
    raise OSError(
        errno.ENODEV,
        f"no permission to open {', '.join(closed)}" if closed else f"no chip is called {name}",
    )


def _label(node: Path) -> str | None:
    """The chip's label; empty where the node is not a chip, None where it may not be opened."""
    try:
        with gpiod.Chip(str(node)) as chip:
            return chip.get_info().label
    except PermissionError:
        return None
    except OSError:
        # Going away at this moment, or no gpiochip: it has no label, and the caller says so.
        return ""
