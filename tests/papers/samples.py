"""Makes the invented papers once, by the program's own example, for all tests of this folder."""

from __future__ import annotations

import functools
import os
import subprocess
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@functools.cache
def folder() -> Path:
    """The folder with every invented paper in every form."""
    made = tempfile.TemporaryDirectory(prefix="papers-")
    _KEPT.append(made)
    command = ["cargo", "run", "--quiet", "--package", "fivebar-documents", "--example", "papers", "--", made.name]
    subprocess.run(command, cwd=ROOT, check=True)
    return Path(made.name)


_KEPT: list[tempfile.TemporaryDirectory] = []


def names() -> list[str]:
    return sorted(path.stem for path in folder().glob("*.pdf"))


def read(name: str, form: str) -> bytes:
    return (folder() / f"{name}.{form}").read_bytes()


def run(*command: str | os.PathLike) -> str:
    """The output of a program; it must end well."""
    done = subprocess.run(command, check=True, capture_output=True)
    return done.stdout.decode()
