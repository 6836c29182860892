//! Units, limits and verdicts: each figure with its source; bounds; the pressure test by pipe and method.

use proptest::prelude::*;
use rust_decimal::Decimal;
use trade::Quantity;
use trade::measure::catalogue::{KINDS, PRESSURE_TEST};
use trade::measure::unit::{UNITS, unit_named};
use trade::measure::{
    Bound, Reading, Sense, SetLimit, UnitFault, Verdict, Written, check_unit, compare, convert, judge,
    kind_of, read_value, resistance, split_unit,
};

mod table;

fn quantity(text: &str) -> Quantity {
    text.parse().unwrap()
}

/// A verdict as one word, from a value as people write it.
fn verdict(what: &str, value: &str, unit: &str, how: &str, set: Option<SetLimit<'_>>) -> &'static str {
    let unit = check_unit(what, unit).unwrap();
    let (bound, value, unit) = match read_value(value).unwrap() {
        Written::Value(bound, value) => (bound, value, unit),
        Written::NoFall { minutes } => {
            (Bound::Exactly, Quantity::ZERO, trade::measure::unit_of_fall(&unit, minutes))
        }
    };
    word(&judge(&Reading { what, bound, value, unit: &unit, how }, set).verdict)
}

fn word(verdict: &Verdict) -> &'static str {
    match verdict {
        Verdict::Within => "within",
        Verdict::Outside => "outside",
        Verdict::NotTold(_) => "not told",
        Verdict::NoLimit => "no limit",
    }
}

#[test]
fn each_limit_is_told_on_both_of_its_sides() {
    let table = "
        what                  | value  | unit   | how                  | verdict  | source
        insulation resistance | 1.00   | megohm | 500 V                | within   | seen: 18theditionmock.com; trade magazine, May 2023
        insulation resistance | 0.99   | megohm | 500 V                | outside  | seen: the same
        insulation resistance | >200   | megohm | 500 V, lights        | within   | seen: a bound must be storable
        insulation resistance | >0.5   | megohm | 500 V                | not told | computed
        insulation resistance | <0.99  | megohm | 500 V                | outside  | computed
        insulation resistance | <5     | megohm | 500 V                | not told | computed
        insulation resistance | 1200   | kohm   | 500 V                | within   | computed
        insulation resistance | 0.5    | megohm | SELV at 250 V        | within   | seen: 18theditionmock.com
        insulation resistance | 0.49   | megohm | SELV at 250 V        | outside  | seen: the same
        insulation resistance | 0.99   | megohm | 1000 V               | outside  | seen: the same
        rcd time              | 300    | ms     |                      | within   | seen: crannistech.co.uk (BS 7671:2008 app. 3A)
        rcd time              | 301    | ms     |                      | outside  | seen: the same
        rcd time              | 0.3    | s      |                      | within   | computed
        rcd time              | 40     | ms     | x5                   | within   | seen: crannistech.co.uk
        rcd time              | 41     | ms     | x5                   | outside  | seen: the same
        rcd time              | >300   | ms     | 1/2                  | within   | seen: no trip at half the current
        rcd time              | 120    | ms     | half                 | outside  | seen: it tripped
        rcd time              | 129    | ms     | S type               | outside  | memory
        rcd time              | 500    | ms     | S type               | within   | memory
        rcd time              | 501    | ms     | S type               | outside  | memory
        zs                    | 1667   | ohm    | 30 mA RCD            | within   | seen: common table, 50 V / 0.03 A
        zs                    | 1668   | ohm    | 30 mA RCD            | outside  | seen: the same
        zs                    | 0.8    | ohm    | B32                  | no limit | the device's table is the design's
        stored hot water      | 60     | °C     |                      | within   | seen: hse.gov.uk/legionnaires/hot-and-cold.htm
        stored hot water      | 59.9   | C      |                      | outside  | seen: the same
        hot return            | 50     | °C     |                      | within   | seen: the same
        hot return            | 49.9   | °C     |                      | outside  | seen: the same
        hot water temperature | 50     | °C     | after a minute       | within   | seen: the same
        hot water temperature | 48     | °C     | at 60 s              | outside  | seen: the same
        hot water temperature | 54     | °C     | healthcare           | outside  | seen: the same
        hot water temperature | 48.0   | °C     | bath                 | within   | seen: Approved Document G by allbuildingcontrol
        hot water temperature | 48.1   | °C     | bath                 | outside  | seen: the same
        hot water temperature | 59.9   | °C     | cylinder             | outside  | seen: hse.gov.uk
        cold water temperature| 19.9   | °C     |                      | within   | seen: hse.gov.uk
        cold water temperature| 20.0   | °C     |                      | outside  | seen: the same
        cold water temperature| <20    | °C     |                      | within   | seen: the same
        cold water temperature| 25     | °C     | warmed in the pipe   | within   | seen: Defra guide para 9
        cold water temperature| 26     | °C     | warmed in the pipe   | outside  | seen: the same
        mixing valve          | 41     | °C     | shower               | within   | seen: BuildCert text in valve manuals
        mixing valve          | 42.0   | °C     | shower               | outside  | seen: the same
        mixing valve          | 41.1   | °C     | basin                | outside  | seen: the same
        mixing valve          | 44     | °C     | bath                 | within   | seen: the same
        mixing valve          | 44.1   | °C     | bath                 | outside  | seen: the same
        mixing valve          | 43.5   | °C     | care home bath       | outside  | seen: the same
        mixing valve          | 41     | °C     |                      | no limit | it has to be said what it serves
        flow                  | 12.1   | L/min  | pump on the mains    | outside  | memory
        flow                  | 0.2    | L/s    | pump on the mains    | within   | memory
        flow                  | 9      | L/min  | at the shower        | no limit | the maker's
        velocity              | 3.0    | m/s    | cold                 | within   | seen: BS 6700 table by liquisearch
        velocity              | 3.01   | m/s    | cold                 | outside  | seen: the same
        velocity              | 2.6    | m/s    | 70 °C                | outside  | seen: the same
        velocity              | 2.1    | m/s    | 90 °C                | outside  | seen: the same
        level                 | 3      | mm/m   | ceiling              | within   | seen: NHBC 9.1.3
        level                 | 4      | mm/m   | ceiling              | outside  | seen: the same
        plumb                 | 8      | mm     |                      | within   | seen: NHBC 9.1.3
        plumb                 | 9      | mm     |                      | outside  | seen: the same
        plumb                 | 0.9    | cm     |                      | outside  | computed
        flatness              | 3      | mm     | north wall           | within   | seen: NHBC 9.1.3
        flatness              | 4      | mm     | north wall           | outside  | seen: the same
        flatness              | 5      | mm     | ceiling              | within   | seen: the same
        flatness              | 6      | mm     | ceiling              | outside  | seen: the same
        flatness              | 4      | mm     | thin bed             | outside  | seen: NHBC 9.2.5
        flatness              | 4      | mm     | thick bed            | within   | seen: the same
        flatness              | 7      | mm     | thick bed            | outside  | seen: the same
        flatness              | 4      | mm     | plaster, in 1800     | outside  | seen: M20/715, flipbuilder p. 381
        board joint           | 3      | mm     |                      | within   | seen: specification pages K10/M20
        board joint           | 4      | mm     |                      | outside  | seen: the same
        timber moisture       | 20     | %      |                      | within   | seen: NHBC
        timber moisture       | 22     | %      |                      | outside  | seen: the same
        screed moisture       | 76     | % RH   |                      | outside  | memory
        room temperature      | 4      | °C     |                      | outside  | memory
        room temperature      | 41     | °F     |                      | within   | memory
        background temperature| 4.9    | °C     |                      | outside  | memory
        continuity            | 0.42   | ohm    | R1+R2, far end       | no limit | the design's
        paint sheen           | 3      | points |                      | no limit | none is known";
    for [what, value, unit, how, wanted, source] in table::rows::<6>(table) {
        assert_eq!(verdict(what, value, unit, how, None), wanted, "{what} {value} {unit} {how} ({source})");
    }
    // Every kind of the catalogue that has a limit stands in the table.
    let limited = KINDS.iter().filter(|kind| kind.cases.iter().any(|case| case.limit.is_some()));
    let missing: Vec<_> = limited.filter(|kind| !table.contains(kind.name)).map(|kind| kind.name).collect();
    assert_eq!(missing, ["room humidity"], "common practice without a source");
}

/// Defra guide to SI 1999/1148 schedule 2 para 12; upperplumbers.co.uk (test A); waterregsuk.co.uk I35.
#[test]
fn the_pressure_test_is_judged_by_pipe_and_method() {
    let table = "
        value              | how                                                                        | verdict  | source
        4.5                | copper, system 3 bar, no fall in 60 min                                    | within   | seen: Defra guide, 1 h
        4.5                | copper, system 3 bar, no fall in 1 h                                       | within   | the same
        4.4                | copper, system 3 bar, no fall in 60 min                                    | outside  | seen+comp: 1.5 x 3
        7.5                | rigid, system 5 bar, held, no drop in 60 min                               | within   | seen+comp: 1.5 x 5
        4.5                | copper, system 3 bar, fell 0.1 in 60 min                                   | outside  | seen+comp: 0.1 fails
        4.5                | copper, system 3 bar, no fall in 45 min                                    | not told | computed
        4.5                | copper, no fall in 60 min                                                  | not told | the pressure is not told
        4.5                | system 3 bar, no fall in 60 min                                            | not told | the pipe is not told
        4.5                | plastic, test A: 30 min at 4.5, dropped to 1.5, no fall in 90 min, system 3 bar   | within  | seen: test A
        4.5                | plastic, test A: 30 min at 4.5, dropped to a third, no fall in 90 min, system 3   | within  | the same
        4.5                | plastic, test A: 30 min at 4.5, dropped to 2.5, no fall in 90 min, system 3 bar   | outside | the same
        4.5                | plastic, test A: 20 min at 4.5, dropped to 1.5, no fall in 90 min, system 3 bar   | outside | the same
        4.5                | plastic, test A: 30 min at 4.5, dropped to 1.5, no fall in 60 min, system 3 bar   | not told | the same
        4.5                | plastic, test A: 30 min at 4.5, no fall in 90 min, system 3 bar            | not told | the same
        4.5                | plastic test B, pumped 30 min, fell 0.5 in 30 min, fell 0.1 in 120 min, system 3 | within | seen+comp: 0.5 and 0.1 pass
        4.5                | plastic test B, pumped 30 min, fell 0.6 in 30 min, fell 0.1 in 120 min, system 3 | outside | seen+comp: 0.6 fails
        4.5                | plastic test B, pumped 30 min, fell 0.5 in 30 min, fell 0.2 in 2 h, system 3     | outside | seen+comp
        4.5                | plastic test B, pumped 30 min, fell 0.5 in 30 min, system 3                | not told | the same
        8.25               | EN 806, working pressure 5 bar                                             | not told | seen: 8.25; its times were not read
        8.24               | EN 806, working pressure 5 bar                                             | outside  | seen: 1.1 x 1.5 x 5 = 8.25
        no fall in 60 min  | copper, 60 min at 4.5, system 3 bar                                        | within   | seen: no fall, as a value
        no fall in 30 min  | copper, 60 min at 4.5, system 3 bar                                        | not told | computed";
    for [value, how, wanted, source] in table::rows::<4>(table) {
        let got = verdict(PRESSURE_TEST, value, "bar", how, None);
        assert_eq!(got, wanted, "{value}: {how} ({source})");
    }
    assert_eq!(
        verdict(PRESSURE_TEST, "450", "kPa", "copper, system 3 bar, no fall in 60 min", None),
        "within"
    );
}

#[test]
fn a_limit_that_is_set_goes_before_the_usual_one() {
    let set = |bound, value: &str, unit| {
        Some(SetLimit { bound, value: quantity(value), unit, source: "the maker" })
    };
    let table = [
        ("insulation resistance", "1.5", "megohm", set(Bound::Above, "2", "megohm"), "outside"),
        ("insulation resistance", ">2", "megohm", set(Bound::Above, "2000", "kilohm"), "within"),
        ("zs", "1.2", "ohm", set(Bound::Below, "1.37", "ohm"), "within"),
        ("zs", "1.38", "ohm", set(Bound::Below, "1.37", "ohm"), "outside"),
        ("timber moisture", "19", "%", set(Bound::Below, "18", "%"), "outside"),
        ("screed moisture", "70", "% RH", set(Bound::Below, "2", "%"), "not told"),
        ("paint sheen", "3", "points", set(Bound::Above, "2", "points"), "within"),
        ("paint sheen", "3", "points", set(Bound::Above, "2", "grades"), "not told"),
    ];
    for (what, value, unit, limit, wanted) in table {
        assert_eq!(verdict(what, value, unit, "", limit), wanted, "{what} {value} {unit} {limit:?}");
    }
    let reading = Reading { what: "zs", bound: Bound::Exactly, value: quantity("1"), unit: "ohm", how: "" };
    let judged = judge(&reading, set(Bound::Below, "1.37", "ohm"));
    assert_eq!((judged.limit.as_str(), judged.source.as_str()), ("at most 1.37 ohm", "the maker"));
}

/// Twelve ways for a value to stand to a figure, written out by hand.
#[test]
fn bounds_tell_what_they_can() {
    use Bound::{Above, Below, Exactly};
    for (bound, value, side, figure, wanted) in [
        (Exactly, 1, Above, 1, Some(true)),
        (Exactly, 0, Above, 1, Some(false)),
        (Above, 200, Above, 1, Some(true)),
        (Above, 0, Above, 1, None),
        (Below, 1, Above, 1, Some(false)),
        (Below, 2, Above, 1, None),
        (Exactly, 2, Below, 1, Some(false)),
        (Below, 1, Below, 1, Some(true)),
        (Below, 2, Below, 1, None),
        (Above, 1, Below, 1, Some(false)),
        (Above, 0, Below, 1, None),
        (Exactly, 1, Exactly, 1, Some(true)),
        (Above, 1, Exactly, 1, Some(false)),
        (Below, 2, Exactly, 1, None),
    ] {
        let found = compare(bound, Decimal::from(value), side, Decimal::from(figure));
        assert_eq!(found, wanted, "{bound:?} {value} against {side:?} {figure}");
    }
}

/// IEC 60228 values (uecables); the sums are computed.
#[test]
fn what_conductors_come_to_by_the_table() {
    let table = "
        kind | line | earth | metres | ohms  | source
        leg  | 2.5  | 1.5   | 22     | 0.429 | seen+comp: electriciansforums, 19.51 mohm/m
        leg  | 1.5  | 1.0   | 50     | 1.51  | seen+comp: 30.2 mohm/m
        leg  | 10   | 4     | 15     | 0.097 | seen+comp: 6.44 mohm/m, 0.0966
        ring | 2.5  | 1.5   | 60     | 0.293 | computed: (0.4446 + 0.726) / 4
        leg  | 6    | 2.5   | 18     | 0.189 | seen+comp: 10.49 mohm/m";
    for [kind, line, earth, metres, ohms, source] in table::rows::<6>(table) {
        let of = if kind == "ring" { resistance::ring } else { resistance::line_and_earth };
        assert_eq!(
            of(line, earth, quantity(metres)),
            Some(quantity(ohms)),
            "{kind} {line}/{earth} ({source})"
        );
    }
    assert_eq!(resistance::line_and_earth("3", "1.5", quantity("1")), None);
    assert_eq!(resistance::expected("R1+R2, 22 m of 2.5/1.5"), Some(quantity("0.429")));
    assert_eq!(resistance::expected("ring, 60m of 2.5/1.5"), Some(quantity("0.293")));
    assert_eq!(resistance::expected("R1+R2 at the far end"), None);
}

#[test]
fn a_value_without_its_unit_or_with_a_wrong_one_is_told_what_to_write() {
    for (what, unit, wanted) in [
        ("pressure test", "", "a value needs its unit; this test is read in bar"),
        (
            "pressure test",
            "furlong",
            "\"furlong\" is no unit that is known here; this test is read in bar (or mbar",
        ),
        ("pressure test", "m", "m is a length; this test is read in bar"),
        ("Insulation Resistance", "V", "V is a voltage; this test is read in megohm"),
        ("paint sheen", " ", "a value needs its unit; say what it is counted in"),
    ] {
        let fault = check_unit(what, unit).unwrap_err().to_string();
        assert!(fault.starts_with(wanted), "{fault}");
    }
    for (what, unit, kept) in [
        ("pressure test", "Bar", "bar"),
        ("pressure test", "bar fall in 60 min", "bar fall in 60 min"),
        ("stored hot water", "C", "°C"),
        ("insulation resistance", "MΩ", "megohm"),
        ("insulation resistance", "M\u{2126}", "megohm"),
        ("continuity", "mΩ", "milliohm"),
        ("paint sheen", "points", "points"),
    ] {
        assert_eq!(check_unit(what, unit).as_deref(), Ok(kept), "{what} {unit}");
    }
    assert_eq!(split_unit("bar fall in 60 min"), ("bar", Some(60)));
    assert_eq!(split_unit("bar fall in a while"), ("bar fall in a while", None));
    let most = Quantity::new(Decimal::from(i64::MAX)).unwrap();
    assert!(matches!(convert(most, "gigohm", "milliohm"), Err(UnitFault::TooManyDigits { .. })));
}

#[test]
fn the_catalogue_holds_together() {
    let mut names = Vec::new();
    for kind in KINDS {
        assert_eq!(kind_of(&kind.name.to_uppercase()).map(|found| found.name), Some(kind.name));
        names.extend(kind.names.iter().chain([&kind.name]).copied());
        let dimension = unit_named(kind.unit).unwrap().dimension;
        let last = kind.cases.last().unwrap();
        assert!(last.words.is_empty(), "{}: the last case takes what no other does", kind.name);
        for case in kind.cases {
            let Some(limit) = case.limit else { continue };
            assert_eq!(unit_named(limit.unit).unwrap().dimension, dimension, "{}", kind.name);
            let figures = match limit.sense {
                Sense::AtLeast(one) | Sense::AtMost(one) | Sense::Under(one) => vec![one],
                Sense::Between(low, high) => vec![low, high],
            };
            assert!(figures.iter().all(|figure| figure.parse::<Decimal>().is_ok()), "{figures:?}");
            assert!(!limit.source.is_empty() && limit.from.parse::<trade::Day>().is_ok());
        }
        for text in kind.cases.iter().map(|case| case.what).chain([kind.caution]) {
            for word in ["is safe", "compliant", "certified", "passes"] {
                assert!(!text.to_lowercase().contains(word), "{text}");
            }
        }
    }
    let count = names.len();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), count, "a name means one kind");
}

/// A second opinion on every ratio, from a general units library in floating point.
#[test]
fn a_units_library_converts_to_the_same() {
    use uom::si::f64::{
        ElectricalResistance, Length, Pressure, ThermodynamicTemperature, Time, Velocity, VolumeRate,
    };
    use uom::si::{
        electrical_resistance as ohm, length, pressure, thermodynamic_temperature as heat, time, velocity,
        volume_rate,
    };
    let library = |value: f64, symbol: &str| -> Option<f64> {
        Some(match symbol {
            "bar" => Pressure::new::<pressure::bar>(value).get::<pressure::bar>(),
            "mbar" => Pressure::new::<pressure::millibar>(value).get::<pressure::bar>(),
            "Pa" => Pressure::new::<pressure::pascal>(value).get::<pressure::bar>(),
            "kPa" => Pressure::new::<pressure::kilopascal>(value).get::<pressure::bar>(),
            "MPa" => Pressure::new::<pressure::megapascal>(value).get::<pressure::bar>(),
            "psi" => Pressure::new::<pressure::psi>(value).get::<pressure::bar>(),
            "ohm" => value,
            "milliohm" => ElectricalResistance::new::<ohm::milliohm>(value).get::<ohm::ohm>(),
            "kilohm" => ElectricalResistance::new::<ohm::kiloohm>(value).get::<ohm::ohm>(),
            "megohm" => ElectricalResistance::new::<ohm::megaohm>(value).get::<ohm::ohm>(),
            "gigohm" => ElectricalResistance::new::<ohm::gigaohm>(value).get::<ohm::ohm>(),
            "ms" => value,
            "s" => Time::new::<time::second>(value).get::<time::millisecond>(),
            "min" => Time::new::<time::minute>(value).get::<time::millisecond>(),
            "h" => Time::new::<time::hour>(value).get::<time::millisecond>(),
            "°C" => value,
            "°F" => {
                ThermodynamicTemperature::new::<heat::degree_fahrenheit>(value).get::<heat::degree_celsius>()
            }
            "K" => ThermodynamicTemperature::new::<heat::kelvin>(value).get::<heat::degree_celsius>(),
            "L/min" => value,
            "L/s" => {
                VolumeRate::new::<volume_rate::liter_per_second>(value).get::<volume_rate::liter_per_minute>()
            }
            "m3/h" => VolumeRate::new::<volume_rate::cubic_meter_per_hour>(value)
                .get::<volume_rate::liter_per_minute>(),
            "m/s" => Velocity::new::<velocity::meter_per_second>(value).get::<velocity::meter_per_second>(),
            "mm" => value,
            "cm" => Length::new::<length::centimeter>(value).get::<length::millimeter>(),
            "m" => Length::new::<length::meter>(value).get::<length::millimeter>(),
            "in" => Length::new::<length::inch>(value).get::<length::millimeter>(),
            _ => return None,
        })
    };
    let mut compared = 0;
    for unit in UNITS {
        let first = UNITS.iter().find(|other| other.dimension == unit.dimension).unwrap();
        for value in ["0.5", "1", "3.25", "212", "1200.125"] {
            let Some(wanted) = library(value.parse().unwrap(), unit.symbol) else { continue };
            let found = convert(quantity(value), unit.symbol, first.symbol).unwrap();
            let found: f64 = found.to_string().parse().unwrap();
            // The library counts in floating point and keeps a psi to seven digits; ours rounds at nine places.
            assert!(
                (found - wanted).abs() <= 1e-8 + wanted.abs() * 1e-7,
                "{value} {}: {found} {wanted}",
                unit.symbol
            );
            compared += 1;
        }
    }
    assert_eq!(compared, 5 * 26, "every unit that the library has");
}

proptest! {
    /// There and back is the same, to the ninth place.
    #[test]
    fn a_conversion_leads_back(mantissa in -1_000_000_i64..1_000_000, one in 0_usize..UNITS.len(), other in any::<prop::sample::Index>()) {
        let one = UNITS[one];
        let of_kind: Vec<_> = UNITS.iter().filter(|unit| unit.dimension == one.dimension).collect();
        let other = other.get(&of_kind);
        let value = Quantity::new(Decimal::new(mantissa, 3)).unwrap();
        let Ok(there) = convert(value, one.symbol, other.symbol) else { return Ok(()) };
        let back = convert(there, other.symbol, one.symbol).unwrap();
        let ratio = convert(quantity("1"), other.symbol, one.symbol).unwrap().value();
        let shift = convert(quantity("0"), other.symbol, one.symbol).unwrap().value();
        let lost = ((ratio - shift).abs() + Decimal::ONE) * Decimal::new(1, 9);
        prop_assert!((back.value() - value.value()).abs() <= lost, "{value} {} {there} {} {back}", one.symbol, other.symbol);
    }

    /// Anything typed is read or refused, never worse; and what is judged never panics.
    #[test]
    fn no_words_upset_a_judgement(how in ".{0,80}", value in "[0-9<>. a-z]{0,20}", kind in 0_usize..KINDS.len()) {
        let kind = &KINDS[kind];
        if let Ok(Written::Value(bound, value)) = read_value(&value) {
            let reading = Reading { what: kind.name, bound, value, unit: kind.unit, how: &how };
            prop_assert!(!judge(&reading, None).verdict.words().is_empty());
        }
    }

    /// More of a good thing is no worse: where a value is at least the limit, so is a larger one.
    #[test]
    fn a_larger_value_never_falls_under_a_least(low in 0_i64..5_000, more in 0_i64..5_000) {
        let told = |value: i64| {
            let value = Quantity::new(Decimal::new(value, 3)).unwrap();
            let reading = Reading { what: "insulation resistance", bound: Bound::Exactly, value, unit: "megohm", how: "" };
            judge(&reading, None).verdict
        };
        if told(low) == Verdict::Within {
            prop_assert_eq!(told(low + more), Verdict::Within);
        }
    }
}
