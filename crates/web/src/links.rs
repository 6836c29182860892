//! Names as they stand in addresses.

/// A name as it may stand in an address.
pub(crate) fn encoded(name: &str) -> String {
    let mut encoded = String::new();
    for byte in name.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => {
                encoded.push(char::from(byte))
            }
            _ => encoded += &format!("%{byte:02X}"),
        }
    }
    encoded
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_in_an_address_is_only_plain_letters() {
        assert_eq!(encoded("stud walls & é"), "stud%20walls%20%26%20%C3%A9");
    }
}
