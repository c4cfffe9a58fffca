"""Whose memory card this is: a secret made at the first start, bound to the board it was made on.

In: the state directory and a root (the real one, or a test's). Out: Standing. The secret is 32
random bytes in a file of mode 0600; the board is known by hashes of what tells boards apart, keyed
with the secret, so that the file shows no serial number.

What tells a board: its serial number where the firmware shows one to everybody, else the addresses
of its built-in network interfaces (one that is still the same is enough: a driver may come late),
else, weakly, the machine id, which a copied card brings along. The strongest that was known then
and is known now decides; where there is none, nothing proves that it is another board.
"""

import hashlib
import hmac
import json
import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

NAME = "identity.json"
SERIALS = (
    "sys/firmware/devicetree/base/serial-number",
    "sys/class/dmi/id/board_serial",
    "sys/class/dmi/id/product_uuid",
)
MACHINE = "etc/machine-id"
KINDS = ("serial", "network", "machine-id")
"""What tells boards apart, the strongest first."""


@dataclass(frozen=True, slots=True)
class Standing:
    """What is known of this unit's identity."""

    copied: bool
    """The secret was made on another board."""
    kept: bool = True
    """It could be read, or made and kept."""
    by: str = ""
    """What decided: one of KINDS, or '' where nothing tells."""


def standing(state: Path, root: Path = Path("/")) -> Standing:
    """Look at the identity that lies there; make one where there is none. Raises nothing."""
    try:
        secret, board = _read(state / NAME)
    except FileNotFoundError:
        return Standing(False, adopt(state, root), next(iter(_marks(root)), ""))
    except (OSError, ValueError):
        return Standing(False, False)
    here = {kind: _bound(secret, told) for kind, told in _marks(root).items()}
    for kind in KINDS:
        if kind in here and board.get(kind):
            return Standing(not set(here[kind]) & set(board[kind]), True, kind)
    return Standing(False)


def adopt(state: Path, root: Path = Path("/")) -> bool:
    """Make a new secret, bound to this board; whether it could be kept."""
    secret = secrets.token_hex(32)
    board = {kind: _bound(secret, told) for kind, told in _marks(root).items()}
    fresh = state / f"{NAME}.new"
    try:
        with open(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
            file.write(json.dumps({"v": 1, "secret": secret, "board": board}) + "\n")
            file.flush()
            os.fsync(file.fileno())
        os.replace(fresh, state / NAME)
    except OSError:
        return False
    return True


def _marks(root: Path) -> dict[str, list[str]]:
    """What tells this board apart, by kind; a kind that tells nothing is left out."""
    told = {
        "serial": [each for each in (_text(root / name) for name in SERIALS) if each][:1],
        "network": _addresses(root),
        "machine-id": [each for each in (_text(root / MACHINE),) if each],
    }
    return {kind: told[kind] for kind in KINDS if told[kind]}


def _bound(secret: str, told: list[str]) -> list[str]:
    """Those marks as the secret writes them down."""
    key = bytes.fromhex(secret)
    return [hmac.new(key, each.encode(), hashlib.sha256).hexdigest() for each in told]


def _addresses(root: Path) -> list[str]:
    """Addresses of interfaces that belong to a device which is not on a USB cable."""
    found = []
    for each in sorted((root / "sys/class/net").glob("*")):
        device = each / "device"
        if device.exists() and "/usb" not in os.path.realpath(device):
            found += [told for told in (_text(each / "address"),) if told]
    return found


def _read(path: Path) -> tuple[str, Mapping[str, list[str]]]:
    """The secret and the board. Raises FileNotFoundError, OSError, ValueError."""
    said: Any = json.loads(path.read_text())
    if not isinstance(said, dict) or not isinstance(said.get("board"), dict):
        raise ValueError("no identity of this form")
    if not all(isinstance(each, list) for each in said["board"].values()):
        raise ValueError("no board of this form")
    secret = said.get("secret")
    if not isinstance(secret, str) or len(bytes.fromhex(secret)) != 32:
        raise ValueError("no secret of this form")
    return secret, said["board"]


def _text(path: Path) -> str:
    try:
        return path.read_text(errors="replace").strip(" \t\n\0")
    except OSError:
        return ""
