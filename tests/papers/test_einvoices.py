"""Holds the e-invoices against the official schemas and rules of EN 16931, and their VAT to the penny.

Run with `python3 -m unittest` in this folder, after `pip install -r requirements.txt`.
"""

from __future__ import annotations

import unittest
from decimal import ROUND_HALF_UP, Decimal

import official
import samples
from lxml import etree

UBL = {
    "cac": "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2",
    "cbc": "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2",
}
CII = {"ram": "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100"}
PENNY = Decimal("0.01")

# Sums that passed the schemas and rules when they were worked by hand: lines, VAT, total, and what is due.
# EN 16931 has no place for CIS; what is due is therefore the total. Rates: VAT Act 1994, HMRC VATREC12030 for
# the rounding; the reverse charge by HMRC VATREVCON37100: stated, and not added.
EXPECTED = {
    "standard": ("1603.41", "320.68", "1924.09"),
    "retention": ("2000.00", "380.00", "2280.00"),
    "release": ("50.00", "10.00", "60.00"),
    "two-rates": ("1090.00", "68.00", "1158.00"),
    "reverse-charge": ("1545.67", "0.00", "1545.67"),
    "reverse-charge-retention": ("1545.67", "0.00", "1468.39"),
    "reverse-and-ordinary": ("580.00", "16.00", "596.00"),
    "not-registered": ("168.00", "0.00", "168.00"),
    "zero-rate": ("640.00", "0.00", "640.00"),
    "exempt": ("640.00", "0.00", "640.00"),
    "deposit": ("416.67", "83.33", "500.00"),
    "after-deposit": ("1136.74", "227.35", "1364.09"),
    # Computed: 1.75 x 260.00 + 2 x 54.00 + 85.00 + 24.5 x 0.45 (11.025, half up).
    "time": ("659.03", "131.81", "790.84"),
    "credit-note": ("28.33", "5.67", "34.00"),
    # Computed: 1000.00 less 50.00 that were not certified.
    "ordered-abroad": ("950.00", "190.00", "1140.00"),
}
TYPE_CODES = {"credit-note": "381", "deposit": "386"}


def one(root: etree._Element, path: str, names: dict[str, str]) -> str:
    found = root.xpath(path, namespaces=names)
    assert len(found) == 1, f"{path}: {len(found)} found"
    return found[0].text


def figures(xml: bytes) -> dict:
    """The figures of an e-invoice of either syntax, read by its own names."""
    root = etree.fromstring(xml)
    if root.tag == official.CII:
        total = "//ram:SpecifiedTradeSettlementHeaderMonetarySummation/ram:"
        shares = root.xpath("//ram:ApplicableHeaderTradeSettlement/ram:ApplicableTradeTax", namespaces=CII)
        share = ("ram:BasisAmount", "ram:CalculatedAmount", "ram:CategoryCode", "ram:RateApplicablePercent")
        lines = root.xpath("//ram:IncludedSupplyChainTradeLineItem", namespaces=CII)
        line = (
            "ram:SpecifiedLineTradeDelivery/ram:BilledQuantity",
            "ram:SpecifiedLineTradeAgreement/ram:NetPriceProductTradePrice/ram:ChargeAmount",
            "ram:SpecifiedLineTradeSettlement/ram:SpecifiedTradeSettlementLineMonetarySummation/ram:LineTotalAmount",
        )
        names = ("LineTotalAmount", "TaxTotalAmount", "GrandTotalAmount", "DuePayableAmount")
        spaces = CII
    else:
        total = "/*/cac:LegalMonetaryTotal/cbc:"
        shares = root.xpath("/*/cac:TaxTotal/cac:TaxSubtotal", namespaces=UBL)
        share = ("cbc:TaxableAmount", "cbc:TaxAmount", "cac:TaxCategory/cbc:ID", "cac:TaxCategory/cbc:Percent")
        lines = root.xpath("/*/cac:InvoiceLine | /*/cac:CreditNoteLine", namespaces=UBL)
        line = (
            "cbc:InvoicedQuantity | cbc:CreditedQuantity",
            "cac:Price/cbc:PriceAmount",
            "cbc:LineExtensionAmount",
        )
        names = ("LineExtensionAmount", None, "TaxInclusiveAmount", "PayableAmount")
        spaces = UBL

    def below(element, path):
        found = element.xpath(path, namespaces=spaces)
        return found[0].text if found else None

    tax = total + names[1] if names[1] else "/*/cac:TaxTotal/cbc:TaxAmount"
    return {
        "net": one(root, total + names[0], spaces),
        "vat": one(root, tax, spaces),
        "total": one(root, total + names[2], spaces),
        "due": one(root, total + names[3], spaces),
        "shares": [tuple(below(element, path) for path in share) for element in shares],
        "lines": [tuple(Decimal(below(element, path)) for path in line) for element in lines],
    }


class OfficialRules(unittest.TestCase):
    def test_every_paper_passes_schema_and_rules(self):
        self.assertGreater(len(samples.names()), 10)
        for name in samples.names():
            for form in ("ubl", "cii"):
                with self.subTest(paper=name, form=form):
                    verdict = official.check(samples.read(name, form))
                    self.assertEqual(verdict.schema_errors, [])
                    self.assertEqual(verdict.said, [])
                    # A good invoice fires dozens of rules in either syntax.
                    self.assertGreater(verdict.rules_fired, 30)

    def test_a_document_that_is_none_fires_no_rule_and_is_not_valid(self):
        for xml in (b"<root/>", b"<Invoice/>"):
            fired, failed, _ = official.check_rules(xml, official.RULES[official.UBL_INVOICE])
            self.assertEqual((fired, failed), (0, set()))
        verdict = official.Verdict([], 0, set(), [])
        self.assertFalse(verdict.is_valid)

    def test_the_paper_is_of_its_kind(self):
        for name in samples.names():
            code = TYPE_CODES.get(name, "380")
            root = etree.fromstring(samples.read(name, "ubl"))
            self.assertEqual(one(root, "/*/cbc:InvoiceTypeCode | /*/cbc:CreditNoteTypeCode", UBL), code)


class Parties(unittest.TestCase):
    def test_the_buyers_order_and_country_stand_where_their_program_looks(self):
        """BT-13 and BT-55 of EN 16931, in either syntax; without an order there is no element for it."""
        for name, order, country in (("ordered-abroad", ["PO-7712"], "IE"), ("standard", [], "GB")):
            with self.subTest(paper=name):
                ubl = etree.fromstring(samples.read(name, "ubl"))
                buyer = "/*/cac:AccountingCustomerParty/cac:Party/cac:PostalAddress/cac:Country/cbc:IdentificationCode"
                self.assertEqual(one(ubl, buyer, UBL), country)
                self.assertEqual(ubl.xpath("/*/cac:OrderReference/cbc:ID/text()", namespaces=UBL), order)
                cii = etree.fromstring(samples.read(name, "cii"))
                buyer = "//ram:BuyerTradeParty/ram:PostalTradeAddress/ram:CountryID"
                self.assertEqual(one(cii, buyer, CII), country)
                placed = "//ram:BuyerOrderReferencedDocument/ram:IssuerAssignedID/text()"
                self.assertEqual(cii.xpath(placed, namespaces=CII), order)
                seller = "/*/cac:AccountingSupplierParty/cac:Party/cac:PostalAddress/cac:Country/cbc:IdentificationCode"
                self.assertEqual(one(ubl, seller, UBL), "GB")

    def test_a_country_that_is_none_fails_the_official_rule(self):
        xml = samples.read("ordered-abroad", "ubl").replace(b">IE<", b">UK<")
        self.assertIn("BR-CL-14", official.check(xml).failed)
        # The rules of the other syntax number it by themselves.
        xml = samples.read("ordered-abroad", "cii").replace(b">IE<", b">UK<")
        self.assertFalse(official.check(xml).is_valid)


class Figures(unittest.TestCase):
    def test_sums_are_those_worked_by_hand(self):
        for name, (net, vat, total) in EXPECTED.items():
            for form in ("ubl", "cii"):
                with self.subTest(paper=name, form=form):
                    found = figures(samples.read(name, form))
                    self.assertEqual((found["net"], found["vat"], found["total"]), (net, vat, total))
                    self.assertEqual(found["due"], total)

    def test_vat_is_right_to_the_penny(self):
        """The official rules tolerate up to 1.00, so it is reckoned here: a share at once, half up."""
        for name in samples.names():
            for form in ("ubl", "cii"):
                with self.subTest(paper=name, form=form):
                    found = figures(samples.read(name, form))
                    in_all = Decimal(0)
                    for taxable, vat, category, percent in found["shares"]:
                        exact = Decimal(taxable) * Decimal(percent or 0) / 100
                        self.assertEqual(Decimal(vat), exact.quantize(PENNY, ROUND_HALF_UP), category)
                        in_all += Decimal(vat)
                    self.assertEqual(Decimal(found["vat"]), in_all)

    def test_each_line_is_its_quantity_at_its_price(self):
        for name in samples.names():
            for form in ("ubl", "cii"):
                with self.subTest(paper=name, form=form):
                    for quantity, price, amount in figures(samples.read(name, form))["lines"]:
                        self.assertEqual((quantity * price).quantize(PENNY, ROUND_HALF_UP), amount)

    def test_both_syntaxes_say_the_same(self):
        for name in samples.names():
            with self.subTest(paper=name):
                self.assertEqual(figures(samples.read(name, "ubl")), figures(samples.read(name, "cii")))

    def test_words_come_out_as_they_went_in(self):
        root = etree.fromstring(samples.read("awkward", "ubl"))
        names = root.xpath("//cac:InvoiceLine/cac:Item/cbc:Name", namespaces=UBL)
        self.assertEqual(names[0].text, '<b>making good</b> & "touching up" – ¼ day, ≥ 12.5 mm, 20 °C')
        self.assertEqual(names[2].text, "two\nlines\tand a  bell")


class Faults(unittest.TestCase):
    """Deliberate faults, each of which must fail the named rule: so that a pass means something."""

    def verdict(self, name: str, *changes: tuple[str, str]) -> official.Verdict:
        xml = samples.read(name, "ubl").decode()
        for old, new in changes:
            self.assertIn(old, xml)
            xml = xml.replace(old, new)
        return official.check(xml.encode())

    def fails(self, rules: set[str], name: str, *changes: tuple[str, str]) -> None:
        with self.subTest(rules=rules):
            verdict = self.verdict(name, *changes)
            self.assertLessEqual(rules, verdict.failed, verdict.said)

    def test_units_and_codes(self):
        self.fails({"BR-CL-23"}, "standard", ('unitCode="XBG"', 'unitCode="BG"'))
        self.fails({"BR-CL-14"}, "standard", ("IdentificationCode>GB<", "IdentificationCode>UK<"))
        self.fails({"BR-CO-09"}, "standard", (">GB000000001<", ">000000001<"))

    def test_the_reverse_charge(self):
        percent = ("<cbc:Percent>0</cbc:Percent>", "<cbc:Percent>20</cbc:Percent>")
        charged = ('<cbc:TaxAmount currencyID="GBP">0.00<', '<cbc:TaxAmount currencyID="GBP">309.13<')
        self.fails({"BR-AE-05", "BR-AE-09"}, "reverse-charge", percent, charged)
        self.fails({"BR-AE-02"}, "reverse-charge", ("<cbc:CompanyID>GB000000000</cbc:CompanyID>", ""))
        xml = samples.read("reverse-charge", "ubl").decode()
        root = etree.fromstring(xml.encode())
        for reason in root.xpath("//cbc:TaxExemptionReason | //cbc:TaxExemptionReasonCode", namespaces=UBL):
            reason.getparent().remove(reason)
        self.assertIn("BR-AE-10", official.check(etree.tostring(root)).failed)
        root = etree.fromstring(xml.encode())
        share = root.xpath("//cac:TaxSubtotal", namespaces=UBL)[0]
        share.addnext(etree.fromstring(etree.tostring(share)))
        for taxable, part in zip(root.xpath("//cbc:TaxableAmount", namespaces=UBL), ("1000.00", "545.67")):
            taxable.text = part
        self.assertLessEqual({"BR-AE-01", "BR-AE-08"}, official.check(etree.tostring(root)).failed)

    def test_sums(self):
        total = ('TaxInclusiveAmount currencyID="GBP">1924.09<', 'TaxInclusiveAmount currencyID="GBP">1924.10<')
        self.fails({"BR-CO-15", "BR-CO-16"}, "standard", total)
        lines = ('<cbc:LineExtensionAmount currencyID="GBP">1603.41<', '<cbc:LineExtensionAmount currencyID="GBP">1603.42<')
        self.fails({"BR-CO-10", "BR-CO-13"}, "standard", lines)
        self.fails({"BR-CO-17", "BR-S-09"}, "standard", (">320.68<", ">321.68<"))
        self.fails({"BR-27"}, "standard", (">18.4<", ">-18.4<"))
        verdict = self.verdict("standard", (">786.60<", ">786.600<"))
        self.assertIn("BR-DEC-23", verdict.failed)

    def test_who_is_not_registered_charges_nothing_else_beside(self):
        xml = samples.read("not-registered", "ubl").decode()
        root = etree.fromstring(xml.encode())
        ordinary = etree.fromstring(samples.read("standard", "ubl"))
        share = ordinary.xpath("//cac:TaxSubtotal", namespaces=UBL)[0]
        root.xpath("//cac:TaxSubtotal", namespaces=UBL)[0].addnext(share)
        line = ordinary.xpath("//cac:InvoiceLine", namespaces=UBL)[0]
        root.append(line)
        self.assertLessEqual({"BR-O-11", "BR-O-12"}, official.check(etree.tostring(root)).failed)

    def test_the_order_of_elements_is_the_schemas_to_say(self):
        xml = samples.read("standard", "ubl").decode()
        due = "<cbc:DueDate>2026-11-20</cbc:DueDate>"
        code = "<cbc:InvoiceTypeCode>380</cbc:InvoiceTypeCode>"
        self.assertIn(due, xml)
        swapped = xml.replace(due, "").replace(code, code + due)
        verdict = official.check(swapped.encode())
        self.assertNotEqual(verdict.schema_errors, [])
        self.assertEqual(verdict.failed, set())

    def test_an_empty_invoice_lacks_what_every_invoice_has(self):
        empty = b'<Invoice xmlns="urn:oasis:names:specification:ubl:schema:xsd:Invoice-2"/>'
        verdict = official.check(empty)
        self.assertLessEqual({f"BR-0{n}" for n in range(1, 9)} | {"BR-16", "BR-CO-18"}, verdict.failed)


if __name__ == "__main__":
    unittest.main()
