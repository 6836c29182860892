"""Reads what a fivebar ledger is made of, from the text of the format alone.

This shares no code with the program. It has no list of kinds or fields of its own either: it takes
them from the tables of proto/FORMAT.md, so that whoever trusts that text can read their own ledger.
It only reads, and it says no by raising Malformed.
"""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass, field
from pathlib import Path

import nacl.bindings
import nacl.exceptions
import nacl.signing
from blake3 import blake3

FORMAT = Path(__file__).resolve().parents[2] / "proto" / "FORMAT.md"
MAX_PAYLOAD = 256 * 1024
MAX_RUN = 1024 * 1024 + 64 * 1024
NO_CREW = bytes(32)
DAYS = (-25_567, 376_199)


class Malformed(Exception):
    """The bytes are not what the format describes."""


# ---- the tables of the text --------------------------------------------------------------------


@dataclass
class Tables:
    """What the tables of the text say."""

    ids: dict[str, int] = field(default_factory=dict)
    structures: dict[str, list[tuple[str, str]]] = field(default_factory=dict)
    choices: dict[str, list[tuple[str, str]]] = field(default_factory=dict)
    kinds: dict[int, str] = field(default_factory=dict)
    contents: dict[int, list[tuple[str, str]]] = field(default_factory=dict)


def _rows(lines: list[str]) -> list[list[str]]:
    """The cells of the first table, without its heading."""
    table = [line for line in lines if line.startswith("|")]
    return [[cell.strip().strip("`") for cell in line.strip("|").split("|")] for line in table[2:]]


def _sections(text: str, mark: str) -> dict[str, list[str]]:
    """The lines below each heading of one level, by heading."""
    sections: dict[str, list[str]] = {}
    lines: list[str] = []
    for line in text.splitlines():
        if line.startswith(mark + " "):
            lines = sections.setdefault(line[len(mark) + 1 :], [])
        else:
            lines.append(line)
    return sections


def read_tables(text: str) -> Tables:
    """Takes the ids, structures, choices and kinds from the text of the format."""
    tables = Tables()
    parts = _sections(text, "##")
    for name, width, _meaning in _rows(parts["Ids"]):
        if not width.isdecimal():
            break
        tables.ids[name] = int(width)
    tables.structures["Act"] = [(row[0], row[1]) for row in _rows(parts["Act"])]
    for name, lines in _sections("\n".join(parts["Structures"]), "###").items():
        if any(line.startswith("| tag |") for line in lines):
            rows = _rows(lines)
            if [int(row[0]) for row in rows] != list(range(len(rows))):
                raise ValueError(f"the tags of {name} leave a gap")
            tables.choices[name] = [(row[1], row[2]) for row in rows]
        else:
            tables.structures[name] = [(row[0], row[1]) for row in _rows(lines)]
    for heading, lines in _sections("\n".join(parts["Kinds"]), "###").items():
        number, name = heading.split()
        tables.kinds[int(number)] = name
        tables.contents[int(number)] = [(row[0], row[1]) for row in _rows(lines)]
    return tables


# ---- values ------------------------------------------------------------------------------------


class Reader:
    """Reads values from the front of some bytes. Notes in `met` each choice and option it came by."""

    def __init__(self, tables: Tables, data: bytes, met: set[tuple[str, str]] | None = None):
        self.tables = tables
        self.data = data
        self.at = 0
        self.met = met if met is not None else set()

    def take(self, count: int) -> bytes:
        if count > len(self.data) - self.at:
            raise Malformed("the bytes end early")
        self.at += count
        return self.data[self.at - count : self.at]

    def integer(self, width: int, signed: bool = False) -> int:
        return int.from_bytes(self.take(width), "little", signed=signed)

    def end(self) -> None:
        if self.at != len(self.data):
            raise Malformed("bytes are left over")

    def structure(self, fields: list[tuple[str, str]], name: str) -> dict:
        return {label: self.value(kind, f"{name}.{label}") for label, kind in fields}

    def value(self, kind: str, where: str):
        """Reads a value of the type that a table names."""
        if match := re.fullmatch(r"list of (.+)", kind):
            count = self.integer(8)
            if count > MAX_PAYLOAD:
                raise Malformed("a list claims more than a payload can hold")
            return [self.value(match[1], where) for _ in range(count)]
        if match := re.fullmatch(r"option of (.+)", kind):
            present = self._flag()
            self.met.add((where, "some" if present else "none"))
            if not present:
                return None
            value = self.value(match[1], where + "?")
            # JSON has one null for both kinds of none, so the inner option is a list of nothing or one.
            return [value] * (value is not None) if match[1].startswith("option of ") else value
        if match := re.fullmatch(r"pair of (\w+) and (\w+)", kind):
            return [self.value(match[1], where), self.value(match[2], where)]
        if match := re.fullmatch(r"(\d+) of (.+)", kind):
            return [self.value(match[2], where) for _ in range(int(match[1]))]
        if match := re.fullmatch(r"(\d+) bytes", kind):
            return list(self.take(int(match[1])))
        if match := re.fullmatch(r"([ui])(8|16|32|64)", kind):
            return self.integer(int(match[2]) // 8, signed=match[1] == "i")
        if kind in self.tables.ids:
            return self.take(self.tables.ids[kind]).hex()
        if kind in self.tables.choices:
            return self._choice(kind, where)
        if kind in self.tables.structures:
            return self.structure(self.tables.structures[kind], kind)
        for number, name in self.tables.kinds.items():
            if kind == name:
                return self.structure(self.tables.contents[number], name)
        return self._plain(kind)

    def _plain(self, kind: str):
        match kind:
            case "bool":
                return self._flag()
            case "text":
                return self._text()
            case "Quantity" | "Rate":
                mantissa, scale = self.integer(8, signed=True), self.integer(1)
                if scale > 9:
                    raise Malformed("more than nine decimals")
                return decimal_text(mantissa, scale)
            case "Pence":
                return decimal_text(self.integer(8, signed=True), 2)
            case "Day":
                return day_text(self.integer(4, signed=True))
            case "Moment":
                return moment_text(self.integer(8, signed=True), self.integer(2, signed=True))
        raise ValueError(f"the text names a type that it does not describe: {kind!r}")

    def _flag(self) -> bool:
        byte = self.integer(1)
        if byte > 1:
            raise Malformed("neither 0 nor 1")
        return byte == 1

    def _text(self) -> str:
        try:
            return self.take(self.integer(8)).decode("utf-8", errors="strict")
        except UnicodeDecodeError as error:
            raise Malformed("not UTF-8") from error

    def _choice(self, kind: str, where: str):
        tag = self.integer(4)
        choices = self.tables.choices[kind]
        if tag >= len(choices):
            raise Malformed(f"{kind} has no tag {tag}")
        name, content = choices[tag]
        self.met.add((kind, name))
        return {name: self.value(content, where)} if content else name


def decimal_text(mantissa: int, scale: int) -> str:
    """mantissa ÷ 10^scale with exactly that many decimals."""
    digits = str(abs(mantissa)).rjust(scale + 1, "0")
    whole, behind = digits[: len(digits) - scale], digits[len(digits) - scale :]
    return ("-" if mantissa < 0 else "") + whole + ("." + behind if scale else "")


def day_text(number: int) -> str:
    if not DAYS[0] <= number <= DAYS[1]:
        raise Malformed("a day outside 1900 to 2999")
    return (datetime.date(1970, 1, 1) + datetime.timedelta(days=number)).isoformat()


def moment_text(utc_ms: int, offset_min: int) -> str:
    within = DAYS[0] * 86_400_000 <= utc_ms < (DAYS[1] + 1) * 86_400_000
    if not within or abs(offset_min) > 18 * 60:
        raise Malformed("no such moment")
    wall = datetime.datetime(1970, 1, 1) + datetime.timedelta(milliseconds=utc_ms, minutes=offset_min)
    hours, minutes = divmod(abs(offset_min), 60)
    sign = "-" if offset_min < 0 else "+"
    return f"{wall.isoformat(timespec='milliseconds')}{sign}{hours:02}:{minutes:02}"


# ---- payloads, events, chains, runs ------------------------------------------------------------


def decode_payload(
    tables: Tables, kind: int, version: int, data: bytes, met: set[tuple[str, str]] | None = None
) -> tuple[dict, dict]:
    """The act and the content of a payload."""
    if kind not in tables.kinds or version != 1:
        raise Malformed("unknown kind or version")
    if len(data) > MAX_PAYLOAD:
        raise Malformed("too large")
    reader = Reader(tables, data, met)
    if reader.integer(1) != 0:
        raise Malformed("sealed, or wrapped in a way that the text does not know")
    act = reader.structure(tables.structures["Act"], "Act")
    content = reader.structure(tables.contents[kind], tables.kinds[kind])
    reader.end()
    check_act(act)
    return act, content


def check_act(act: dict) -> None:
    size = {name: len(act[name].encode()) for name in ("note", "said", "row_key")}
    replaces = act["replaces"]
    if size["note"] > 16_384 or size["said"] > 16_384 or size["row_key"] > 200:
        raise Malformed("too many words")
    if act["done_at"] is not None and act["done_at"] >= 1_440:
        raise Malformed("no such time of day")
    # Lower-case hex of one width ascends exactly as its bytes do.
    if len(replaces) > 1_000 or any(left >= right for left, right in zip(replaces, replaces[1:])):
        raise Malformed("the replaced events do not ascend")


def derive(context: str, data: bytes) -> bytes:
    return blake3(data, derive_key_context=context).digest()


def derive_id(crew: bytes, what: str, words: list[str]) -> bytes:
    parts = [word.encode() for word in [what, *words]]
    return derive("fivebar id 1", crew + b"".join(len(part).to_bytes(8, "little") + part for part in parts))[:16]


@dataclass(frozen=True)
class ChainStart:
    chain: bytes
    device: bytes
    audience: int

    @staticmethod
    def decode(data: bytes) -> ChainStart:
        if len(data) != 49 or data[48] > 1:
            raise Malformed("not the start of a chain")
        return ChainStart(data[:16], data[16:48], data[48])

    def anchor(self, crew: bytes) -> bytes:
        return derive("fivebar chain 1", crew + self.device + self.chain + bytes([self.audience]))


@dataclass(frozen=True)
class Event:
    seq: int
    hash: bytes
    made_at: int
    kind: int
    kind_version: int
    payload: bytes


@dataclass(frozen=True)
class Tip:
    """How far a chain is known: the next seq, the last hash, and the time that must not be undercut."""

    next_seq: int
    hash: bytes
    made_at: int = -(2**63)


def content_hash(made_at: int, kind: int, version: int, payload: bytes) -> bytes:
    """The hash of an event's bytes as they stand in a run."""
    header = made_at.to_bytes(8, "little", signed=True) + kind.to_bytes(2, "little")
    header += version.to_bytes(2, "little") + len(payload).to_bytes(4, "little")
    return derive("fivebar content 1", header + payload)


def event_hash(chain: bytes, seq: int, before: bytes, content: bytes) -> bytes:
    """The hash of an event at its place, given the hash of what it says."""
    return derive("fivebar event 1", chain + seq.to_bytes(8, "little") + before + content)


@dataclass(frozen=True)
class Run:
    chain: bytes
    first_seq: int
    events: list[tuple[int, int, int, bytes]]
    signature: bytes

    @staticmethod
    def decode(data: bytes) -> Run:
        if len(data) > MAX_RUN or len(data) < 28 + 64:
            raise Malformed("no run is so large or so small")
        reader = Reader(Tables(), data[:-64])
        chain, first_seq, count = reader.take(16), reader.integer(8), reader.integer(4)
        if count == 0 or first_seq + count >= 2**64:
            raise Malformed("a run of no events, or past the last sequence number")
        events = []
        for _ in range(count):
            made_at, kind, version = reader.integer(8, signed=True), reader.integer(2), reader.integer(2)
            length = reader.integer(4)
            if length > MAX_PAYLOAD:
                raise Malformed("a payload is too large")
            events.append((made_at, kind, version, reader.take(length)))
        reader.end()
        return Run(chain, first_seq, events, data[-64:])

    def place(self, before: bytes) -> list[Event]:
        """The events with their hashes, given the hash before the first."""
        placed = []
        for seq, (made_at, kind, version, payload) in enumerate(self.events, self.first_seq):
            content = content_hash(made_at, kind, version, payload)
            before = event_hash(self.chain, seq, before, content)
            placed.append(Event(seq, before, made_at, kind, version, payload))
        return placed

    def verify(self, crew: bytes, start: ChainStart, tip: Tip) -> tuple[list[Event], Tip]:
        """Checks the run against what is known of its chain. Gives its events and the tip behind it."""
        if self.chain != start.chain or self.first_seq != tip.next_seq:
            raise Malformed("the run does not begin where the chain ends")
        events = self.place(tip.hash)
        times = [tip.made_at, *(event.made_at for event in events)]
        if any(earlier > later for earlier, later in zip(times, times[1:])):
            raise Malformed("the time of making falls")
        last = events[-1]
        try:
            key = nacl.signing.VerifyKey(start.device)
            key.verify(head_bytes(crew, self.chain, last.seq, last.hash), self.signature)
        except nacl.exceptions.BadSignatureError as error:
            raise Malformed("the head is not signed by the chain's device") from error
        return events, Tip(last.seq + 1, last.hash, last.made_at)


def head_bytes(crew: bytes, chain: bytes, seq: int, event_hash: bytes) -> bytes:
    return b"fivebar head 1" + crew + chain + seq.to_bytes(8, "little") + event_hash


# ---- the recovery words ------------------------------------------------------------------------


def recovery_key(entropy: bytes) -> nacl.signing.SigningKey:
    """The key that the words' random bytes derive."""
    return nacl.signing.SigningKey(derive("fivebar recovery words 1", entropy))


def certificate_bytes(tables: Tables, crew: bytes, chain: bytes, payload: bytes) -> bytes:
    """What the recovery key signs of a certificate, from the payload's own bytes."""
    reader = Reader(tables, payload)
    reader.take(1)
    act = reader.structure(tables.structures["Act"], "Act")
    content = payload[reader.at : -64]
    replaces = b"".join(bytes.fromhex(event) for event in act["replaces"])
    count = len(act["replaces"]).to_bytes(8, "little")
    return b"fivebar recovery 1" + crew + chain + content + count + replaces


# ---- what is sealed ----------------------------------------------------------------------------


def key_id(key: bytes) -> bytes:
    return derive("fivebar office key id 1", key)[:16]


def receive_key(given: dict, seed: bytes) -> bytes:
    """Opens a key of the office that was given to the device of this seed."""
    own = nacl.signing.SigningKey(seed)
    once, to = bytes.fromhex(given["once"]), bytes.fromhex(given["to"])
    if bytes(own.verify_key) != to:
        raise Malformed("the key was given to another device")
    shared = nacl.bindings.crypto_scalarmult(
        bytes(own.to_curve25519_private_key()), bytes(nacl.signing.VerifyKey(once).to_curve25519_public_key())
    )
    agreed = derive("fivebar office key to a device 1", shared + once + to)
    key = _open(agreed, bytes(24), b"", bytes(given["sealed"] + given["tag"]))
    if key_id(key).hex() != given["key"]:
        raise Malformed("it is another key than it says")
    return key


def open_payload(chain: bytes, event: Event, keys: dict[bytes, bytes]) -> bytes:
    """The payload as it would stand unsealed."""
    if event.payload[:1] != b"\1":
        return event.payload
    name, nonce, sealed = event.payload[1:17], event.payload[17:41], event.payload[41:]
    if name not in keys:
        raise Malformed("the key is not here")
    context = chain + event.seq.to_bytes(8, "little") + event.made_at.to_bytes(8, "little", signed=True)
    context += event.kind.to_bytes(2, "little") + event.kind_version.to_bytes(2, "little")
    return b"\0" + _open(keys[name], nonce, context, sealed)


def _open(key: bytes, nonce: bytes, context: bytes, sealed: bytes) -> bytes:
    try:
        return nacl.bindings.crypto_aead_xchacha20poly1305_ietf_decrypt(sealed, context, nonce, key)
    except nacl.exceptions.CryptoError as error:
        raise Malformed("it was not sealed so") from error
