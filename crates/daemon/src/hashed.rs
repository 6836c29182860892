//! Text whose last line is the hash of all before it, for small files that must not be used with another byte in them.
//!
//! It tells what a disk did by accident. Whoever can write the file can write the line, too.

/// The text with its line.
pub(crate) fn with_hash(mut text: Vec<u8>) -> Vec<u8> {
    let line = line_of(&text);
    text.extend(line.into_bytes());
    text
}

/// The text of a file; none unless every byte is as it was written.
pub(crate) fn text_of(file: &[u8]) -> Option<&[u8]> {
    let line_bytes = line_of(&[]).len();
    let (text, line) = file.split_at_checked(file.len().checked_sub(line_bytes)?)?;
    (line == line_of(text).as_bytes()).then_some(text)
}

fn line_of(text: &[u8]) -> String {
    format!("\nblake3 {}\n", blake3::hash(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_with_any_other_byte_or_a_piece_of_one_is_never_used() {
        let text = br#"{"seed":"0101","crew":"Oake Rooms"}"#;
        let whole = with_hash(text.to_vec());
        assert_eq!(text_of(&whole), Some(&text[..]));
        assert!(whole.ends_with(format!("\nblake3 {}\n", blake3::hash(text)).as_bytes()));
        for place in 0..whole.len() {
            for bit in 0..8 {
                let mut flipped = whole.clone();
                flipped[place] ^= 1 << bit;
                assert_eq!(text_of(&flipped), None, "bit {bit} of byte {place}");
            }
            assert_eq!(text_of(&whole[..place]), None, "{place} bytes of it");
        }
        for file in [[&whole[..], b"\n"].concat(), [&whole[..], &whole[..]].concat(), text.to_vec()] {
            assert_eq!(text_of(&file), None);
        }
        assert_eq!(text_of(&with_hash(Vec::new())), Some(&b""[..]));
    }
}
