"""Makes the papers once for all tests of this folder: invented ones of every kind by an example, and those of the
invented week by the program itself, from the files of tests/scenario to an issued invoice."""

from __future__ import annotations

import functools
import os
import shutil
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
    issue_the_week(Path(made.name))
    return Path(made.name)


def issue_the_week(into: Path) -> None:
    """Issues both invoices of the week and takes their papers, by the program, and beside them in a folder of their
    own an application for payment and the bookkeeper's months."""
    with tempfile.TemporaryDirectory(prefix="ledger-") as ledger:

        def fivebar(*words: str | os.PathLike) -> None:
            command = ["cargo", "run", "--quiet", "--package", "fivebar", "--", "--data", f"{ledger}/laptop", *words]
            subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)

        fivebar("found", "--crew", "Oake Rooms", "--person", "Maren Oake", "--device", "maren-laptop")
        fivebar("import", ROOT / "tests" / "scenario")
        others = into / "others"
        fivebar("application", "make", "MILL", "--until", "2026-11-08")
        fivebar("print", "application", "MILL", "1", "--to", others, "--as", "pdf", "--as", "text")
        for number, job in (("41", "GARAGE"), ("42", "MILL")):
            fivebar("invoice", "issue", job, "--until", "2026-11-08")
            forms = [word for form in ENDINGS for word in ("--as", form)]
            fivebar("print", "invoice", number, "--to", ledger, *forms)
            for form, ending in ENDINGS.items():
                shutil.copy(f"{ledger}/invoice-{number}.{ending}", into / f"week-{job.lower()}.{form}")
        fivebar("invoice", "pay", "42", "500", "--cis-taken", "100.50")
        ticket = Path(ledger) / "ticket.jpg"
        ticket.write_bytes(TICKET)
        bought = ("--job", "GARAGE", "--ticket", "4471", "--net", "45.25", "--vat", "9.05")
        fivebar("log", "bought", *bought, "--photo", ticket)
        fivebar("log", "expense", "--job", "GARAGE", "--what", "parking")
        fivebar("print", "books", "--to", others, "--as", "pdf", "--as", "csv", "--as", "text")


@functools.cache
def handover() -> bytes:
    """The zip in which the program hands over the GARAGE of the week."""
    with tempfile.TemporaryDirectory(prefix="ledger-") as ledger:

        def fivebar(*words: str | os.PathLike) -> None:
            command = ["cargo", "run", "--quiet", "--package", "fivebar", "--", "--data", f"{ledger}/laptop", *words]
            subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)

        fivebar("found", "--crew", "Oake Rooms", "--person", "Maren Oake", "--device", "maren-laptop")
        fivebar("import", ROOT / "tests" / "scenario")
        fivebar("handover", "GARAGE", "--to", ledger)
        return Path(f"{ledger}/handover-GARAGE.zip").read_bytes()


# A photo as far as a file of photos goes: the ledger keeps it by the hash of its bytes.
TICKET = b"\xff\xd8\xff\xe0 a ticket"
ENDINGS = {"pdf": "pdf", "ubl": "ubl.xml", "cii": "cii.xml", "csv": "csv", "text": "txt"}
_KEPT: list[tempfile.TemporaryDirectory] = []


def names() -> list[str]:
    return sorted(path.stem for path in folder().glob("*.pdf"))


def read(name: str, form: str) -> bytes:
    return (folder() / f"{name}.{form}").read_bytes()


def run(*command: str | os.PathLike) -> str:
    """The output of a program; it must end well."""
    done = subprocess.run(command, check=True, capture_output=True)
    return done.stdout.decode()
