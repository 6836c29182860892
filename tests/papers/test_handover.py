"""Opens the handover of a job with programs that are not ours, and checks its signatures by the decoder that shares no
code with the program."""

from __future__ import annotations

import io
import sys
import tempfile
import unittest
import zipfile
from pathlib import Path

import samples

sys.path.append(str(samples.ROOT / "tests" / "decoder"))

import fivebar_decoder as decoder  # noqa: E402
import handover_decoder as handed  # noqa: E402

TABLES = decoder.read_tables(decoder.FORMAT.read_text(encoding="utf-8"))


class Handover(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.zip = samples.handover()
        with zipfile.ZipFile(io.BytesIO(cls.zip)) as archive:
            assert archive.testzip() is None
            cls.files = {name: archive.read(name) for name in archive.namelist()}

    def test_the_decoder_finds_it_as_it_was_signed(self):
        crew, device, fronts = handed.check_handover(self.files)
        handed.check_zip_seal(self.zip, crew, device)
        shown = [place for _, places in fronts for place in places if isinstance(place, decoder.Event)]
        withheld = [place for _, places in fronts for place in places if isinstance(place, bytes)]
        self.assertGreater(len(shown), 30)
        self.assertGreater(len(withheld), 30)
        kinds = set()
        for event in shown:
            decoder.decode_payload(TABLES, event.kind, event.kind_version, event.payload)
            kinds.add(TABLES.kinds[event.kind])
        self.assertLessEqual({"crew_founded", "job_listed", "test", "signed_off", "used", "extra_agreed"}, kinds)
        self.assertFalse(kinds & {"hours", "bought", "line_listed", "wasted", "left_off", "office_keys_given"})
        self.assertTrue(all(event.kind < 100 for event in shown))
        jobs = [
            decoder.decode_payload(TABLES, event.kind, event.kind_version, event.payload)[1]["code"]
            for event in shown
            if TABLES.kinds[event.kind] == "job_listed"
        ]
        self.assertEqual(set(jobs), {"GARAGE"})

    def test_the_decoder_notices_a_changed_byte_in_any_file(self):
        crew, device, _ = handed.check_handover(self.files)
        for name, data in self.files.items():
            for at in (0, len(data) // 3, len(data) - 1):
                flipped = bytearray(data)
                flipped[at] ^= 1
                with self.subTest(file=name, byte=at), self.assertRaises((decoder.Malformed, ValueError, KeyError)):
                    handed.check_handover({**self.files, name: bytes(flipped)})
        for at in range(0, len(self.zip), 211):
            flipped = bytearray(self.zip)
            flipped[at] ^= 1
            with self.assertRaises(decoder.Malformed, msg=f"byte {at}"):
                handed.check_zip_seal(bytes(flipped), crew, device)

    def test_the_decoder_notices_a_changed_byte_in_the_events_whoever_signed_the_list(self):
        data = self.files["events.bin"]
        for at in range(0, len(data), 13):
            flipped = bytearray(data)
            flipped[at] ^= 0x10
            with self.assertRaises((decoder.Malformed, ValueError), msg=f"byte {at}"):
                handed.read_excerpt(bytes(flipped))

    def test_the_paper_is_pdf_a_3_tagged_and_says_what_is_open(self):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "handover.pdf"
            path.write_bytes(self.files["handover.pdf"])
            self.assertIn("No syntax or stream encoding errors found", samples.run("qpdf", "--check", path))
            info = samples.run("pdfinfo", path)
            self.assertRegex(info, r"Tagged:\s+yes")
            meta = samples.run("pdfinfo", "-meta", path)
            self.assertIn("<pdfaid:part>3</pdfaid:part>", meta)
            self.assertIn("<pdfaid:conformance>A</pdfaid:conformance>", meta)
            pages = samples.run("pdftotext", "-layout", path, "-").split("\f")
        for said in ("Handover of GARAGE", "J. Marrable", "tanking: not signed off", "certifies nothing", "Crew code"):
            self.assertIn(said, " ".join(pages[0].split()))
        rest = " ".join(" ".join(pages[1:]).split())
        for said in ("Maren Oake 2 Nov 2026", "insulation resistance", ">200 megohm", "within the limit set",
                     "move the door", "finish plaster", "pressure test"):
            self.assertIn(said, rest)
        for office in ("13.05", "38.00", "MILL", "Tollgate"):
            self.assertNotIn(office, " ".join(pages))

    def test_the_tables_are_those_of_the_week(self):
        lines = self.files["tests.csv"].decode().splitlines()
        self.assertEqual(len(lines), 4)
        self.assertIn("4.5 bar", self.files["tests.csv"].decode())
        self.assertIn("finish plaster,4½ bags", self.files["materials.csv"].decode())


if __name__ == "__main__":
    unittest.main()
