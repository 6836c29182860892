//! Writes elements of XML, escaped, and without the characters that no XML may hold.

use std::io;

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// An XML text in the making.
pub(crate) struct Xml {
    writer: Writer<Vec<u8>>,
}

impl Xml {
    /// Writes a root element with its namespaces, and what `inside` writes in it.
    pub(crate) fn document(
        root: &str,
        namespaces: &[(&str, &str)],
        inside: impl FnOnce(&mut Self) -> io::Result<()>,
    ) -> io::Result<Vec<u8>> {
        let mut xml = Self { writer: Writer::new_with_indent(Vec::new(), b' ', 1) };
        xml.writer.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        xml.element_with(root, namespaces, inside)?;
        let mut written = xml.writer.into_inner();
        written.push(b'\n');
        Ok(written)
    }

    /// An element with others in it.
    pub(crate) fn element(
        &mut self,
        name: &str,
        inside: impl FnOnce(&mut Self) -> io::Result<()>,
    ) -> io::Result<()> {
        self.element_with(name, &[], inside)
    }

    fn element_with(
        &mut self,
        name: &str,
        attributes: &[(&str, &str)],
        inside: impl FnOnce(&mut Self) -> io::Result<()>,
    ) -> io::Result<()> {
        let start = BytesStart::new(name).with_attributes(attributes.iter().copied());
        self.writer.write_event(Event::Start(start))?;
        inside(self)?;
        self.writer.write_event(Event::End(BytesEnd::new(name)))
    }

    /// An element with text in it.
    pub(crate) fn text(&mut self, name: &str, text: &str) -> io::Result<()> {
        self.text_with(name, &[], text)
    }

    /// An element with text in it, left out where there is none: EN 16931 forbids empty elements.
    pub(crate) fn text_if_any(&mut self, name: &str, text: &str) -> io::Result<()> {
        if text.trim().is_empty() { Ok(()) } else { self.text(name, text) }
    }

    /// An element with attributes and text.
    pub(crate) fn text_with(
        &mut self,
        name: &str,
        attributes: &[(&str, &str)],
        text: &str,
    ) -> io::Result<()> {
        let text = crate::figures::untied(text);
        let allowed: String = text.trim().chars().filter(|letter| may_stand_in_xml(*letter)).collect();
        let start = BytesStart::new(name).with_attributes(attributes.iter().copied());
        self.writer.write_event(Event::Start(start))?;
        self.writer.write_event(Event::Text(BytesText::new(&allowed)))?;
        self.writer.write_event(Event::End(BytesEnd::new(name)))
    }
}

/// The characters of XML 1.0, section 2.2.
fn may_stand_in_xml(letter: char) -> bool {
    matches!(letter, '\t' | '\n' | '\r' | '\u{20}'..='\u{D7FF}' | '\u{E000}'..='\u{FFFD}' | '\u{10000}'..)
}
