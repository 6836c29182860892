"""Reads the handover of a job, from the text of the format alone: proto/FORMAT-handover.md.

It checks what was signed and says no by raising Malformed. Who the crew is, it can't tell.
"""

from __future__ import annotations

import nacl.exceptions
import nacl.signing
from blake3 import blake3
from fivebar_decoder import (
    MAX_PAYLOAD,
    NO_CREW,
    ChainStart,
    Event,
    Malformed,
    Reader,
    Tables,
    content_hash,
    event_hash,
    head_bytes,
)

EXCERPT_MARK = b"fivebar excerpt 1\n"
SEAL = b"fivebar handover seal 1 "


def check_signature(device: bytes, signed: bytes, signature: bytes) -> None:
    try:
        nacl.signing.VerifyKey(device).verify(signed, signature)
    except (nacl.exceptions.BadSignatureError, ValueError) as error:
        raise Malformed("the device did not sign this") from error


def read_excerpt(data: bytes) -> tuple[bytes, list[tuple[ChainStart, list[Event | bytes]]]]:
    """The crew, and for each chain its shown events in their places and the content hashes of the others."""
    reader = Reader(Tables(), data)
    if reader.take(len(EXCERPT_MARK)) != EXCERPT_MARK:
        raise Malformed("not an excerpt")
    crew, fronts, founded = reader.take(32), [], False
    while reader.at < len(data):
        start = ChainStart.decode(reader.take(49))
        if fronts and fronts[-1][0].chain >= start.chain:
            raise Malformed("the chains do not ascend")
        places: list[tuple[bytes, tuple | None]] = []
        for _ in range(reader.integer(8)):
            if (tag := reader.integer(1)) == 1:
                places.append((reader.take(32), None))
                continue
            if tag != 0:
                raise Malformed("neither shown nor withheld")
            made_at, kind, version = reader.integer(8, signed=True), reader.integer(2), reader.integer(2)
            length = reader.integer(4)
            if length > MAX_PAYLOAD:
                raise Malformed("a payload is too large")
            said = (made_at, kind, version, reader.take(length))
            places.append((content_hash(*said), said))
        if not places:
            raise Malformed("a chain of no events")
        signature = reader.take(64)
        unnamed = start.anchor(NO_CREW)
        founding = event_hash(start.chain, 0, unnamed, places[0][0]) == crew
        founded |= founding and places[0][1] is not None and start.audience == 0
        before, shown, made_at = unnamed if founding else start.anchor(crew), [], -(2**63)
        for seq, (content, said) in enumerate(places):
            before = event_hash(start.chain, seq, before, content)
            if said is not None:
                if said[0] < made_at:
                    raise Malformed("the time of making falls")
                made_at = said[0]
            shown.append(content if said is None else Event(seq, before, *said))
        check_signature(start.device, head_bytes(crew, start.chain, len(places) - 1, before), signature)
        fronts.append((start, shown))
    if not founded:
        raise Malformed("the founding is not shown")
    return crew, fronts


def check_handover(files: dict[str, bytes]) -> tuple[bytes, bytes, list]:
    """Checks the files against the signed list and the excerpt. Gives crew, device and the excerpt's chains."""
    text = files["signed.txt"]
    unsigned, _, rest = text.rpartition(b"signature ")
    lines = unsigned.decode().split("\n")
    if lines[0] != "fivebar handover 1" or not rest.endswith(b"\n"):
        raise Malformed("not a signed list")
    crew, device = lines[1].removeprefix("crew "), lines[2].removeprefix("device ")
    check_signature(bytes.fromhex(device), unsigned, bytes.fromhex(rest[:-1].decode()))
    listed = {}
    for line in lines[3:-1]:
        digest, length, name = line.split(" ", 2)
        listed[name] = (digest, int(length))
    rows = [f"{digest} {length} {name}\n" for name, (digest, length) in sorted(listed.items())]
    again = f"fivebar handover 1\ncrew {crew}\ndevice {device}\n{''.join(rows)}signature {rest[:-1].decode().lower()}\n"
    if again.encode() != text:
        raise Malformed("the list is not written as lists are")
    is_there = {name: (blake3(data).hexdigest(), len(data)) for name, data in files.items() if name != "signed.txt"}
    if is_there != listed:
        raise Malformed("the files are not those of the list")
    named, fronts = read_excerpt(files["events.bin"])
    if named.hex() != crew:
        raise Malformed("the excerpt is of another crew")
    return named, bytes.fromhex(device), fronts


def check_zip_seal(data: bytes, crew: bytes, device: bytes) -> None:
    """Checks the seal over every byte of a zip."""
    before, seal = data[:-152], data[-152:]
    if not seal.startswith(SEAL) or seal != seal.lower():
        raise Malformed("no seal")
    try:
        signature = bytes.fromhex(seal[len(SEAL) :].decode())
    except ValueError as error:
        raise Malformed("no seal") from error
    check_signature(device, SEAL + crew + blake3(before).digest(), signature)
