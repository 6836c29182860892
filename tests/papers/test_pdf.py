"""Opens the PDFs with programs that are not ours: qpdf for their form, poppler for their words and pictures."""

from __future__ import annotations

import re
import subprocess
import tempfile
import unittest
from pathlib import Path

import official
import samples
from lxml import etree

CII = {
    "ram": "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100",
}


PDFA_ID = "http://www.aiim.org/pdfa/ns/id/"


def words(name: str, *flags: str) -> str:
    return samples.run("pdftotext", *flags, samples.folder() / f"{name}.pdf", "-")


def plain(text: str) -> str:
    return " ".join(text.replace("−", "-").replace(",", "").split())


class Pdf(unittest.TestCase):
    def test_qpdf_finds_no_fault(self):
        for name in samples.names():
            with self.subTest(paper=name):
                said = samples.run("qpdf", "--check", samples.folder() / f"{name}.pdf")
                self.assertIn("No syntax or stream encoding errors found", said)

    def test_it_says_that_it_is_pdf_a_3_tagged_and_has_its_fonts_inside(self):
        for name in samples.names():
            with self.subTest(paper=name):
                path = samples.folder() / f"{name}.pdf"
                info = samples.run("pdfinfo", path)
                self.assertRegex(info, r"Tagged:\s+yes")
                xmp = etree.fromstring(samples.run("pdfinfo", "-meta", path).encode())
                said = [xmp.findtext(f".//{{{PDFA_ID}}}{label}") for label in ("part", "conformance")]
                self.assertEqual(said, ["3", "A"])
                fonts = samples.run("pdffonts", path).splitlines()[2:]
                self.assertGreater(len(fonts), 0)
                for font in fonts:
                    # name, type, encoding, embedded, subset, has a map to Unicode
                    self.assertRegex(font, r"yes\s+yes\s+yes")

    def test_every_figure_is_found_in_its_words(self):
        for name in samples.names():
            if name == "awkward":
                continue
            with self.subTest(paper=name):
                text = plain(words(name, "-layout"))
                root = etree.fromstring(samples.read(name, "cii"))
                amounts = root.xpath(
                    "//ram:LineTotalAmount | //ram:ChargeAmount | //ram:GrandTotalAmount | //ram:ActualAmount"
                    " | //ram:BasisAmount | //ram:CalculatedAmount",
                    namespaces=CII,
                )
                self.assertGreater(len(amounts), 4)
                shares = len(root.xpath("//ram:ApplicableHeaderTradeSettlement/ram:ApplicableTradeTax", namespaces=CII))
                for amount in amounts:
                    figure = amount.text
                    if "." not in figure or len(figure.split(".")[1]) < 2:
                        figure = f"{float(figure):.2f}"
                    # Nothing is stated of VAT where there is none, nor the basis where it is the one sum above.
                    if figure == "0.00" or (amount.tag.endswith("BasisAmount") and shares == 1):
                        continue
                    self.assertIn(figure, text)

    def test_the_trade_finds_its_own_words(self):
        reverse = plain(words("reverse-charge-retention"))
        for said in ("reverse charge", "293.68", "1468.39", "224.54", "1243.85", "77.28"):
            self.assertIn(said, reverse.lower())
        packs = plain(words("four-decimals", "-layout"))
        for said in ("1.5 bags", "13.05", "3.83 h (3 h 50)", "0.0132"):
            self.assertIn(said, packs)
        credit = plain(words("credit-note"))
        self.assertIn("41 of 6 Nov 2026", credit)
        self.assertIn("Credit note 42", credit)
        self.assertIn("billed by invoice 40 of 30 Oct 2026", plain(words("after-deposit")))
        self.assertNotIn("VAT", words("not-registered").replace("Not registered for VAT: no VAT is charged.", ""))

    def test_what_the_font_lacks_can_still_be_copied(self):
        text = words("awkward")
        self.assertIn("Łucja Żółć & Søn, Ŵyn, Жук", text)
        self.assertIn("unbroken" * 30, "".join(text.split()))

    def test_a_long_paper_repeats_its_headings_and_counts_its_pages(self):
        pages = words("long", "-layout").split("\f")[:-1]
        self.assertGreater(len(pages), 5)
        for number, page in enumerate(pages, 1):
            with self.subTest(page=number):
                self.assertIn(f"page {number} of {len(pages)}", page)
                if "socket" in page:
                    self.assertRegex(page, r"What\s+How much\s+Price £\s+Amount £")
                if number > 1:
                    self.assertIn("Invoice 41, continued", page)
        everything = plain("".join(pages))
        for number in range(1, 201):
            if number % 17:
                self.assertIn(f"socket {number} moved and made good", everything)

    def test_each_page_has_marks_on_it(self):
        with tempfile.TemporaryDirectory() as folder:
            for name in samples.names():
                picture = Path(folder) / name
                samples.run("pdftoppm", "-r", "30", "-gray", samples.folder() / f"{name}.pdf", picture)
                for page in Path(folder).glob(f"{name}-*.pgm"):
                    pixels = page.read_bytes().split(b"255\n", 1)[1]
                    dark = sum(pixel < 128 for pixel in pixels)
                    self.assertGreater(dark, len(pixels) // 1000, page.name)


class Hybrid(unittest.TestCase):
    def attached(self, name: str) -> bytes:
        path = samples.folder() / f"{name}.pdf"
        listed = samples.run("qpdf", "--list-attachments", path)
        self.assertIn("factur-x.xml", listed)
        command = ["qpdf", path, "--show-attachment=factur-x.xml"]
        return subprocess.run(command, check=True, capture_output=True).stdout

    def test_the_e_invoice_inside_is_the_exported_one_and_valid(self):
        for name in samples.names():
            with self.subTest(paper=name):
                inside = self.attached(name)
                self.assertEqual(inside, samples.read(name, "cii"))
                self.assertTrue(official.check(inside).is_valid)

    def test_the_metadata_declares_it(self):
        """By the open standard for hybrid invoices: its words in XMP, and their schema for PDF/A."""
        for name in samples.names():
            with self.subTest(paper=name):
                path = samples.folder() / f"{name}.pdf"
                xmp = etree.fromstring(samples.run("pdfinfo", "-meta", path).encode())
                fx = "{urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#}"
                said = {label: xmp.findtext(f".//{fx}{label}") for label in (
                    "DocumentType", "DocumentFileName", "Version", "ConformanceLevel")}
                self.assertEqual(said, {
                    "DocumentType": "INVOICE", "DocumentFileName": "factur-x.xml",
                    "Version": "1.0", "ConformanceLevel": "EN 16931"})
                schemas = xmp.findall(".//{http://www.aiim.org/pdfa/ns/extension/}schemas")
                self.assertEqual(len(schemas), 1)
                self.assertIn(b"urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#", etree.tostring(schemas[0]))
                pdf = path.read_bytes()
                self.assertTrue(re.search(rb"/AFRelationship\s*/Alternative", pdf))

    def test_the_same_paper_has_the_same_bytes(self):
        first = samples.read("standard", "pdf")
        with tempfile.TemporaryDirectory() as folder:
            command = ["cargo", "run", "--quiet", "-p", "fivebar-documents", "--example", "papers", "--", folder]
            subprocess.run(command, cwd=samples.ROOT, check=True)
            self.assertEqual((Path(folder) / "standard.pdf").read_bytes(), first)


if __name__ == "__main__":
    unittest.main()
