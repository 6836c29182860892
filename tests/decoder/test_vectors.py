"""Holds the files in proto/vectors against a decoder that shares no code with the program.

Run with `python3 -m unittest` in this folder, after `pip install -r requirements.txt`.
"""

import json
import unittest

from fivebar_decoder import (
    FORMAT,
    NO_CREW,
    ChainStart,
    Malformed,
    Run,
    Tip,
    certificate_bytes,
    decode_payload,
    derive_id,
    head_bytes,
    key_id,
    open_payload,
    read_tables,
    receive_key,
    recovery_key,
)
from nacl.exceptions import BadSignatureError

VECTORS = FORMAT.parent / "vectors"
TABLES = read_tables(FORMAT.read_text(encoding="utf-8"))


def load(name: str) -> dict:
    return json.loads((VECTORS / name).read_text(encoding="utf-8"))


class Payloads(unittest.TestCase):
    def files(self) -> list[dict]:
        return [load(path.name) for path in sorted(VECTORS.glob("payload-*.json"))]

    def test_the_text_has_every_kind_and_no_other(self):
        kept = {file["kind"]: file["name"] for file in self.files()}
        self.assertEqual(kept, TABLES.kinds)

    def test_values_are_those_that_are_kept(self):
        for file in self.files():
            self.assertGreater(len(file["samples"]), 0)
            for place, sample in enumerate(file["samples"]):
                with self.subTest(kind=file["name"], sample=place):
                    data = bytes.fromhex(sample["bytes"])
                    act, content = decode_payload(TABLES, file["kind"], file["version"], data)
                    self.assertEqual(act, sample["act"])
                    self.assertEqual(content, sample["content"])

    def test_the_samples_leave_no_choice_and_no_option_out(self):
        met: set[tuple[str, str]] = set()
        for file in self.files():
            for sample in file["samples"]:
                decode_payload(TABLES, file["kind"], file["version"], bytes.fromhex(sample["bytes"]), met)
        wanted = {(choice, name) for choice, rows in TABLES.choices.items() for name, _ in rows}
        named = [*TABLES.structures.items(), *((TABLES.kinds[n], rows) for n, rows in TABLES.contents.items())]
        for structure, rows in named:
            for label, kind in rows:
                where = f"{structure}.{label}"
                while kind.startswith("option of "):
                    wanted |= {(where, "some"), (where, "none")}
                    where, kind = where + "?", kind.removeprefix("option of ")
        self.assertEqual(wanted - met, set())

    def test_what_is_cut_off_or_left_over_is_noticed(self):
        for file in self.files():
            data = bytes.fromhex(file["samples"][0]["bytes"])
            with self.subTest(kind=file["name"]):
                for end in range(len(data)):
                    with self.assertRaises(Malformed):
                        decode_payload(TABLES, file["kind"], 1, data[:end])
                with self.assertRaises(Malformed):
                    decode_payload(TABLES, file["kind"], 1, data + b"\0")
                with self.assertRaises(Malformed):
                    decode_payload(TABLES, file["kind"], 2, data)
                with self.assertRaises(Malformed):
                    decode_payload(TABLES, file["kind"], 1, b"\1" + data[1:])


class Ids(unittest.TestCase):
    def test_derived_ids(self):
        file = load("ids.json")
        self.assertGreater(len(file["ids"]), 0)
        for row in file["ids"]:
            made = derive_id(bytes.fromhex(file["crew"]), row["what"], row["words"])
            self.assertEqual(made.hex(), row["id"], row)


class Recovery(unittest.TestCase):
    def test_the_words_derive_the_key_that_signs_the_certificate(self):
        file = load("recovery.json")
        entropy, payload = bytes.fromhex(file["entropy"]), bytes.fromhex(file["payload"])
        key = recovery_key(entropy)
        self.assertEqual(bytes(key.verify_key).hex(), file["recovery_key"])
        self.assertEqual(len(file["words"].split()), 12)
        start = ChainStart.decode(bytes.fromhex(file["start"]))
        number = next(number for number, name in TABLES.kinds.items() if name == "recovered")
        act, content = decode_payload(TABLES, number, 1, payload)
        self.assertEqual(content["device"], start.device.hex())
        signature = bytes(sum(content["signature"], []))
        signed = certificate_bytes(TABLES, bytes.fromhex(file["crew"]), start.chain, payload)
        self.assertTrue(act["replaces"])
        key.verify_key.verify(signed, signature)
        for at in range(len(signed)):
            changed = bytearray(signed)
            changed[at] ^= 1
            with self.assertRaises(BadSignatureError):
                key.verify_key.verify(bytes(changed), signature)


class Sealed(unittest.TestCase):
    def test_the_key_is_received_and_opens_each_payload_in_its_own_place(self):
        file = load("sealed.json")
        seed = bytes.fromhex(file["device_seed"])
        key = receive_key(file["given"], seed)
        self.assertEqual(key.hex(), file["key"])
        with self.assertRaises(Malformed):
            receive_key(file["given"], bytes(32))
        run = Run.decode(bytes.fromhex(file["run"]))
        keys = {key_id(key): key}
        self.assertGreater(len(run.place(bytes(32))), 0)
        for event, kept in zip(run.place(bytes(32)), file["payloads"], strict=True):
            with self.assertRaises(Malformed):
                decode_payload(TABLES, event.kind, event.kind_version, event.payload)
            opened = open_payload(run.chain, event, keys)
            self.assertEqual(opened.hex(), kept)
            decode_payload(TABLES, event.kind, event.kind_version, opened)
            with self.assertRaises(Malformed):
                open_payload(bytes(16), event, keys)
            with self.assertRaises(Malformed):
                open_payload(run.chain, event, {})


class Ledger(unittest.TestCase):
    def setUp(self):
        self.file = load("ledger.json")
        self.crew = bytes.fromhex(self.file["crew"])
        self.starts = {row["chain"]: ChainStart.decode(bytes.fromhex(row["bytes"])) for row in self.file["chains"]}

    def first_tips(self) -> dict[str, Tip]:
        """The founding chain is the one whose first event makes the crew id."""
        founding = self.file["runs"][0]["chain"]
        return {
            chain: Tip(0, start.anchor(NO_CREW if chain == founding else self.crew))
            for chain, start in self.starts.items()
        }

    def test_starts_and_anchors(self):
        tips = self.first_tips()
        for row in self.file["chains"]:
            start = self.starts[row["chain"]]
            self.assertEqual(start.chain.hex(), row["chain"])
            self.assertEqual(start.device.hex(), row["device"])
            self.assertEqual(("crew", "office")[start.audience], row["audience"])
            self.assertEqual(tips[row["chain"]].hash.hex(), row["anchor"])

    def test_the_whole_ledger(self):
        tips = self.first_tips()
        for place, row in enumerate(self.file["runs"]):
            chain = row["chain"]
            self.assertEqual(tips[chain].hash.hex(), row["hash_before"])
            run = Run.decode(bytes.fromhex(row["bytes"]))
            events, tips[chain] = run.verify(self.crew, self.starts[chain], tips[chain])
            self.assertEqual(len(events), len(row["events"]))
            for event, kept in zip(events, row["events"]):
                act, content = decode_payload(TABLES, event.kind, event.kind_version, event.payload)
                self.assertEqual(
                    {
                        "seq": event.seq,
                        "hash": event.hash.hex(),
                        "made_at": event.made_at,
                        "kind": event.kind,
                        "kind_version": event.kind_version,
                        "act": act,
                        "content": content,
                    },
                    kept,
                )
            last = events[-1]
            self.assertEqual({"seq": last.seq, "hash": last.hash.hex()}, row["head"])
            self.assertEqual(head_bytes(self.crew, run.chain, last.seq, last.hash).hex(), row["head_bytes"])
            if place == 0:
                self.assertEqual(events[0].hash, self.crew)
                self.assertEqual(TABLES.kinds[events[0].kind], "crew_founded")
        self.assertEqual({chain for chain, tip in tips.items() if tip.next_seq == 0}, set())

    def test_any_flipped_byte_is_noticed(self):
        tips = self.first_tips()
        for row in self.file["runs"]:
            chain, data = row["chain"], bytes.fromhex(row["bytes"])
            for at in range(len(data)):
                flipped = bytearray(data)
                flipped[at] ^= 0xFF
                with self.assertRaises(Malformed, msg=f"byte {at} of a run"):
                    Run.decode(bytes(flipped)).verify(self.crew, self.starts[chain], tips[chain])
            _, tips[chain] = Run.decode(data).verify(self.crew, self.starts[chain], tips[chain])

    def test_another_crew_or_device_is_noticed(self):
        row = self.file["runs"][0]
        run, tip = Run.decode(bytes.fromhex(row["bytes"])), self.first_tips()[row["chain"]]
        start = self.starts[row["chain"]]
        other = next(other for other in self.starts.values() if other.device != start.device)
        with self.assertRaises(Malformed):
            run.verify(bytes(32), start, tip)
        with self.assertRaises(Malformed):
            run.verify(self.crew, ChainStart(start.chain, other.device, start.audience), tip)


if __name__ == "__main__":
    unittest.main()
