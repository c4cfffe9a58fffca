"""The files of this checkout: what is tracked, or would be."""

import subprocess
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@cache
def tracked() -> tuple[Path, ...]:
    """Every file that git knows or would take up, in order; paths are absolute."""
    listing = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    files = (ROOT / name for name in listing.split("\0") if name)
    return tuple(sorted({each for each in files if each.is_file()}))


def texts(*suffixes: str) -> tuple[Path, ...]:
    """The tracked files with one of these endings; all of them where none is given."""
    return tuple(each for each in tracked() if not suffixes or each.suffix in suffixes)


def name(path: Path) -> str:
    """The path as a reader of the checkout writes it; serves as a test id."""
    return str(path.relative_to(ROOT))
