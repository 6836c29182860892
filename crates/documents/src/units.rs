//! The codes by which an e-invoice names units: UN/ECE Recommendations 20 and 21, of which EN 16931 takes its list.

/// The code for a unit as people say it. What has no code of its own is counted in pieces (C62), and the
/// word stands in the line's text.
pub(crate) fn code(unit: &str) -> &'static str {
    match unit.trim().to_lowercase().as_str() {
        "h" | "hour" | "hours" => "HUR",
        "min" | "minute" | "minutes" => "MIN",
        "day" | "days" => "DAY",
        "week" | "weeks" => "WEE",
        "month" | "months" => "MON",
        "mile" | "miles" => "SMI",
        "m" | "metre" | "metres" => "MTR",
        "mm" => "MMT",
        "cm" => "CMT",
        "m2" | "m²" => "MTK",
        "m3" | "m³" => "MTQ",
        "kg" => "KGM",
        "g" => "GRM",
        "t" | "tonne" | "tonnes" => "TNE",
        "l" | "litre" | "litres" => "LTR",
        "ml" => "MLT",
        "kwh" => "KWH",
        "bag" | "bags" => "XBG",
        "roll" | "rolls" => "XRO",
        "box" | "boxes" => "XBX",
        "pack" | "packs" => "XPK",
        "pallet" | "pallets" => "XPX",
        "tube" | "tubes" => "XTU",
        "tub" | "tubs" => "XTB",
        "carton" | "cartons" => "XCT",
        "drum" | "drums" => "XDR",
        "length" | "lengths" => "XLG",
        "set" | "sets" => "SET",
        "pair" | "pairs" => "PR",
        "piece" | "pieces" => "H87",
        "each" => "EA",
        _ => "C62",
    }
}
