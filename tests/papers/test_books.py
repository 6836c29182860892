"""Holds the application for payment and the bookkeeper's month against the invoices and the files they came from."""

from __future__ import annotations

import csv
import io
import unittest
from decimal import Decimal
from pathlib import Path

import blake3
import samples


def others() -> Path:
    return samples.folder() / "others"


def words(path: Path) -> str:
    """The words of a PDF, with plain signs."""
    return " ".join(samples.run("pdftotext", "-layout", path, "-").replace("−", "-").split())


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))


def sums_of(name: str) -> dict[str, Decimal]:
    """The sums at the foot of an invoice's own table."""
    table = rows(samples.folder() / f"{name}.csv")
    return {row["what"]: Decimal(row["amount"]) for row in table if row["row"] == "sum"}


class Application(unittest.TestCase):
    def test_it_asks_for_what_the_invoice_then_bills_and_is_none_itself(self):
        path = others() / "application-MILL-1.pdf"
        self.assertIn("No syntax or stream encoding errors found", samples.run("qpdf", "--check", path))
        said = words(path)
        sums = sums_of("week-mill")
        for figure in (sums["net"], -sums["retention"], sums["taxable in all"]):
            self.assertIn(f"{figure}", said)
        # A paper that asks for VAT, or calls itself an invoice, could be taken for a VAT invoice.
        for word in ("invoice", "tax point", "vat number"):
            self.assertNotIn(word, said.lower())


class Books(unittest.TestCase):
    def test_sales_are_the_invoices_to_the_penny(self):
        [table] = others().glob("books-*.csv")
        sold = {row["number"]: row for row in rows(table) if row["row"] == "sale"}
        self.assertEqual(sorted(sold), ["41", "42"])
        for number, name in (("41", "week-garage"), ("42", "week-mill")):
            sums = sums_of(name)
            self.assertEqual(Decimal(sold[number]["before_vat"]), sums["taxable in all"])
            self.assertEqual(Decimal(sold[number]["vat"]), sums["vat charged"])
            self.assertEqual(Decimal(sold[number]["cis_expected"]), sums["cis"])
        # The mill's customer accounts for the VAT: stated, and not charged (HMRC VATREVCON37100).
        self.assertEqual(sold["42"]["vat"], "0.00")
        self.assertGreater(Decimal(sold["42"]["reverse_charge_vat"]), 0)
        taken = [row for row in rows(table) if row["row"] == "cis taken off"]
        self.assertEqual([(row["number"], row["cis"]) for row in taken], [("42", "100.50")])

    def test_a_purchase_has_its_photo_and_one_without_a_sum_makes_none_up(self):
        [table] = others().glob("books-*.csv")
        bought = {row["what"]: row for row in rows(table) if row["row"] == "purchase"}
        self.assertEqual(len(bought), 2)
        [ticket] = [row for row in bought.values() if row["ticket"] == "4471"]
        self.assertEqual((ticket["before_vat"], ticket["vat"]), ("45.25", "9.05"))
        self.assertEqual(ticket["photos"], blake3.blake3(samples.TICKET).hexdigest())
        [parking] = [row for row in bought.values() if row["ticket"] == ""]
        self.assertEqual((parking["before_vat"], parking["vat"], parking["photos"]), ("", "", ""))

    def test_the_paper_says_the_sums_of_the_table(self):
        [paper] = others().glob("books-*.pdf")
        self.assertIn("No syntax or stream encoding errors found", samples.run("qpdf", "--check", paper))
        said = words(paper).replace(",", "")
        table = rows(paper.with_suffix(".csv"))
        for kind in ("sale", "purchase"):
            for column in ("before_vat", "vat"):
                known = [Decimal(row[column]) for row in table if row["row"] == kind and row[column]]
                self.assertGreater(len(known), 0)
                self.assertIn(f"{sum(known)}", said)
        self.assertIn("Without a sum yet 1", said)
        self.assertIn(f"photo {blake3.blake3(samples.TICKET).hexdigest()[:8]}", said)


if __name__ == "__main__":
    unittest.main()
