"""The rules of this house that no lint knows. Prints every breach with file and line; exits 1 if there is one.

Run from anywhere: python3 tests/tidy/tidy.py
"""

import pathlib
import re
import subprocess
import sys
import tomllib

ROOT = pathlib.Path(__file__).resolve().parents[2]

CODE_ENDINGS = {".rs", ".py", ".js", ".css", ".sh"}
MAX_LINES = 500

PURE_CRATES = ["trade", "ledger", "projections", "sync", "spoken"]

# Which crates each crate may use. Arrows point down only.
ARROWS = {
    "trade": set(),
    "ledger": {"trade"},
    "projections": {"ledger", "trade"},
    "sync": {"ledger"},
    "spoken": {"trade"},
    "store": {"ledger"},
    "net": {"sync", "ledger"},
    "documents": {"projections", "ledger", "trade"},
    "daemon": {"trade", "ledger", "projections", "sync", "spoken", "store", "net", "documents"},
    "web": {"daemon", "documents", "projections", "ledger", "trade", "spoken"},
    "cli": {"web", "daemon", "documents", "trade"},
}

# What may stand in no text file. Pieces are joined, so that this file passes its own check.
FORBIDDEN = [
    ("work left undone", re.compile("FIX" + "ME|XX" + r"X\b|todo" + r"!\(")),
    ("a test that is not run", re.compile(r"#\[ig" + r"nore\b")),
    ("a path of one machine", re.compile(r"(?<![\w.])/(?:wo" + "rk|ro" + r"ot)/|/tm" + "p/t-")),
    ("a registry's host", re.compile(r"[\w.-]*(?:arti" + r"factory|ne" + r"xus)[\w-]*\.[\w.-]+|crates-" + r"io-mirror")),
]


def tracked_files():
    """The files that are in the repository or would be by `git add`."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=ROOT, check=True, capture_output=True).stdout
    names = sorted(set(listed.decode().split("\0")) - {""})
    return [name for name in names if (ROOT / name).is_file()]


def text_of(name):
    """The file's text; None if it is not text."""
    try:
        text = (ROOT / name).read_bytes().decode()
    except UnicodeDecodeError:
        return None
    return None if "\0" in text else text


def is_script(name, text):
    return pathlib.PurePath(name).suffix in CODE_ENDINGS or text.startswith("#!")


def check_text(name, text):
    lines = text.split("\n")
    if is_script(name, text) and len(lines) - 1 > MAX_LINES:
        yield f"{name}: {len(lines) - 1} lines; at most {MAX_LINES}, so split it by what it is about"
    for number, line in enumerate(lines, 1):
        if line != line.rstrip():
            yield f"{name}:{number}: white space at the line's end"
        for what, pattern in FORBIDDEN:
            if pattern.search(line):
                yield f"{name}:{number}: {what}"
    if text and not text.endswith("\n"):
        yield f"{name}: no newline at the end"


def check_module_doc(name, text):
    if re.fullmatch(r"crates/[^/]+/src/.*\.rs", name) and not text.startswith("//!"):
        yield f"{name}: must open with `//!`: what the module is for and what it never does"


def check_arrows():
    folders = {path.parent.name for path in ROOT.glob("crates/*/Cargo.toml")}
    for folder in sorted(folders | set(ARROWS)):
        if folder not in ARROWS:
            yield f"crates/{folder}: no arrows are given for it in tests/tidy/tidy.py"
            continue
        if folder not in folders:
            yield f"crates/{folder}: tests/tidy/tidy.py gives arrows for it and it is not there"
            continue
        manifest = tomllib.loads((ROOT / "crates" / folder / "Cargo.toml").read_text())
        tables = [manifest, *manifest.get("target", {}).values()]
        used = {name for table in tables for name in table.get("dependencies", {})}
        for name in sorted((used & (set(ARROWS) | folders)) - ARROWS[folder]):
            yield f"crates/{folder}/Cargo.toml: {folder} may not use {name}"


def check_pure_crates():
    first = ROOT / "crates" / PURE_CRATES[0] / "clippy.toml"
    for crate in PURE_CRATES:
        path = ROOT / "crates" / crate / "clippy.toml"
        if not path.is_file() or path.read_bytes() != first.read_bytes():
            yield f"crates/{crate}/clippy.toml: must be the same as in crates/{PURE_CRATES[0]}"


def breaches():
    for name in tracked_files():
        # Golden files and lock files are written by programs.
        if name.startswith(("proto/vectors/", "tests/system/pinned/")) or name.endswith("Cargo.lock") or name == "LICENSE":
            continue
        text = text_of(name)
        if text is not None:
            yield from check_text(name, text)
            yield from check_module_doc(name, text)
    yield from check_arrows()
    yield from check_pure_crates()


def main():
    found = list(breaches())
    for breach in found:
        print(breach)
    print(f"tidy: {len(found)} breaches" if found else "tidy: nothing found")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
