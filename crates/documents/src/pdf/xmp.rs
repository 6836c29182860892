//! Says in a PDF's metadata that it carries an e-invoice, as the open standard for hybrid invoices asks.
//!
//! The library that writes the PDF has no place for such a statement, so it is put into the metadata that it
//! wrote, and every offset behind it is moved on. What does not look as expected is an error, never a guess.

use crate::PaperError;

/// The statement, and what PDF/A wants to know of the words that it is made in.
const STATEMENT: &str = r#"<rdf:Description rdf:about="" xmlns:fx="urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#"><fx:DocumentType>INVOICE</fx:DocumentType><fx:DocumentFileName>factur-x.xml</fx:DocumentFileName><fx:Version>1.0</fx:Version><fx:ConformanceLevel>EN 16931</fx:ConformanceLevel></rdf:Description>"#;

const SCHEMA: &str = r#"<rdf:li rdf:parseType="Resource"><pdfaSchema:schema>Factur-X PDFA Extension Schema</pdfaSchema:schema><pdfaSchema:namespaceURI>urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#</pdfaSchema:namespaceURI><pdfaSchema:prefix>fx</pdfaSchema:prefix><pdfaSchema:property><rdf:Seq>PROPERTIES</rdf:Seq></pdfaSchema:property></rdf:li>"#;

const PROPERTIES: [(&str, &str); 4] = [
    ("DocumentFileName", "The name of the embedded XML document"),
    ("DocumentType", "The type of the hybrid document in capital letters, e.g. INVOICE or ORDER"),
    ("Version", "The actual version of the standard applying to the embedded XML document"),
    ("ConformanceLevel", "The conformance level of the embedded XML document"),
];

/// Adds the statement to the metadata of a PDF with an e-invoice in it.
pub(super) fn declare_hybrid(pdf: Vec<u8>) -> Result<Vec<u8>, PaperError> {
    patched(&pdf).ok_or_else(|| PaperError::Pdf("its metadata is not where it was expected".to_owned()))
}

fn patched(pdf: &[u8]) -> Option<Vec<u8>> {
    let start = find(pdf, b"<?xpacket begin", 0)?;
    let end = find(pdf, b"endstream", start)?;
    let metadata = std::str::from_utf8(pdf.get(start..end)?).ok()?;
    let grown = with_statement(metadata)?;
    let head = object_head(pdf, start)?;
    let length = format!("/Length {}", grown.trim_end().len());
    let dictionary = std::str::from_utf8(pdf.get(head..start)?).ok()?;
    let old_length = format!("/Length {}", metadata.trim_end().len());
    if !dictionary.contains(&old_length) {
        return None;
    }
    let dictionary = dictionary.replace(&old_length, &length);
    let added = (dictionary.len() + grown.len()).checked_sub(end - head)?;
    let mut written = pdf.get(..head)?.to_vec();
    written.extend(dictionary.bytes());
    written.extend(grown.bytes());
    let table = move_offsets(pdf, end, added)?;
    written.extend(table);
    Some(written)
}

/// Where the object begins whose stream begins at `stream`.
fn object_head(pdf: &[u8], stream: usize) -> Option<usize> {
    let before = pdf.get(..stream)?;
    before.windows(6).rposition(|bytes| bytes == b" 0 obj")
}

fn with_statement(metadata: &str) -> Option<String> {
    let entries: String = PROPERTIES.iter().map(|(name, description)| property(name, description)).collect();
    let schema = SCHEMA.replace("PROPERTIES", &entries);
    let schemas = metadata.find("<pdfaExtension:schemas>")?;
    let bag = "<rdf:Bag>";
    let first = schemas + metadata.get(schemas..)?.find(bag)? + bag.len();
    let last = metadata.rfind("</rdf:RDF>")?;
    Some(
        [metadata.get(..first)?, &schema, metadata.get(first..last)?, STATEMENT, metadata.get(last..)?]
            .concat(),
    )
}

fn property(name: &str, description: &str) -> String {
    format!(
        "<rdf:li rdf:parseType=\"Resource\"><pdfaProperty:name>{name}</pdfaProperty:name>\
         <pdfaProperty:valueType>Text</pdfaProperty:valueType>\
         <pdfaProperty:category>external</pdfaProperty:category>\
         <pdfaProperty:description>{description}</pdfaProperty:description></rdf:li>"
    )
}

/// The rest of the file from `from` on, with the offsets in its table that lie behind `from` moved on.
fn move_offsets(pdf: &[u8], from: usize, added: usize) -> Option<Vec<u8>> {
    let table = find(pdf, b"\nxref\n", from)? + 1;
    let trailer = find(pdf, b"trailer", table)?;
    let mut written = pdf.get(from..table)?.to_vec();
    let lines = std::str::from_utf8(pdf.get(table..trailer)?).ok()?;
    for line in lines.split_inclusive('\n') {
        match line.split_once(" 00000 n") {
            Some((offset, _)) => {
                let offset: usize = offset.parse().ok()?;
                let moved = if offset >= from { offset + added } else { offset };
                written.extend(format!("{moved:010}").bytes());
                written.extend(line.get(10..)?.bytes());
            }
            None => written.extend(line.bytes()),
        }
    }
    let start = find(pdf, b"startxref\n", trailer)? + b"startxref\n".len();
    let end = start + pdf.get(start..)?.iter().position(|byte| !byte.is_ascii_digit())?;
    let said: usize = std::str::from_utf8(pdf.get(start..end)?).ok()?.parse().ok()?;
    if said != table {
        return None;
    }
    written.extend(pdf.get(trailer..start)?);
    written.extend((table + added).to_string().bytes());
    written.extend(pdf.get(end..)?);
    Some(written)
}

fn find(within: &[u8], bytes: &[u8], from: usize) -> Option<usize> {
    within.get(from..)?.windows(bytes.len()).position(|window| window == bytes).map(|place| place + from)
}
