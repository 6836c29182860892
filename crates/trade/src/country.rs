//! The countries that an address can be in, by the two letters of ISO 3166-1 (from memory; an e-invoice with another
//! code fails the official rules, BR-CL-14 of EN 16931).

/// Every code, in alphabetical order.
const CODES: &str = "\
    AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ BL BM BN BO BQ BR BS BT BV BW BY BZ \
    CA CC CD CF CG CH CI CK CL CM CN CO CR CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE EG EH ER ES ET FI FJ FK FM FO FR \
    GA GB GD GE GF GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM HN HR HT HU ID IE IL IM IN IO IQ IR IS IT JE JM JO JP \
    KE KG KH KI KM KN KP KR KW KY KZ LA LB LC LI LK LR LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ MR MS MT \
    MU MV MW MX MY MZ NA NC NE NF NG NI NL NO NP NR NU NZ OM PA PE PF PG PH PK PL PM PN PR PS PT PW PY QA RE RO RS RU RW \
    SA SB SC SD SE SG SH SI SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM TN TO TR TT TV TW TZ UA UG \
    UM US UY UZ VA VC VE VG VI VN VU WF WS YE YT ZA ZM ZW";

/// Whether two capital letters stand for a country.
#[must_use]
pub fn is_country(code: &str) -> bool {
    CODES.split(' ').any(|known| known == code)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kingdom_is_gb_and_nothing_else() {
        assert!(is_country("GB") && is_country("IE") && is_country("IM"));
        // EN 16931, BR-CL-14: the code list has no UK, and no code in small letters.
        for wrong in ["UK", "gb", "", "G", "GBR", "XX", " "] {
            assert!(!is_country(wrong), "{wrong:?}");
        }
        // ISO 3166-1 has 249 codes.
        assert_eq!(CODES.split(' ').count(), 249);
    }
}
