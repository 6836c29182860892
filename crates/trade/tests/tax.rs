//! Tax by tables that a bookkeeper can read, and the laws behind them.

mod table;

use proptest::prelude::*;
use rust_decimal::Decimal;
use table::rows;
use trade::money::percentage;
use trade::tax::{is_disregarded, tax_point, vat_on, vat_within};
use trade::{
    CisSoFar, Day, InvoiceTerms, InvoiceTotals, Pence, Rate, ReverseChargeFacts, VatCategory, VatShare,
    VatTreatment,
};

fn rate(text: &str) -> Rate {
    text.parse().unwrap()
}

fn pence(text: &str) -> Pence {
    text.parse().unwrap()
}

fn yes(text: &str) -> bool {
    match text {
        "yes" => true,
        "no" => false,
        other => panic!("yes or no, not {other:?}"),
    }
}

#[test]
fn the_reverse_charge_is_left_aside_for_a_small_part() {
    for [part, whole, aside, source] in rows(
        "under it | of the whole | left aside | source
         500.00   | 10500.00     | yes        | dfcaccountancy.co.uk, a third party's page: 4.76 %
         525.00   | 10500.00     | yes        | the same: exactly 5 %
         525.01   | 10500.00     | no         | computed: above 5 %
         10500.00 | 10500.00     | no         | computed: all of it
         0.00     | 10500.00     | no         | computed: none of it",
    ) {
        let day = "2026-11-06".parse().unwrap();
        assert_eq!(is_disregarded(pence(part), pence(whole), day), yes(aside), "{part} of {whole}: {source}");
    }
}

#[test]
fn the_tax_point_is_that_of_the_14_day_rule_or_of_the_payment() {
    let day = |text: &str| text.parse::<Day>().ok();
    for [completed, issued, paid, expected, source] in rows(
        "complete   | issued     | paid       | tax point  | source
         2026-03-01 | 2026-03-10 |            | 2026-03-10 | seen+comp: VAT Act 1994 s.6(5), HMRC VATTOS2230
         2026-03-01 | 2026-03-15 |            | 2026-03-15 | seen+comp: the same
         2026-03-01 | 2026-03-16 |            | 2026-03-01 | seen+comp: the same
         2026-03-01 | 2026-03-20 |            | 2026-03-01 | seen+comp: the same
                    | 2026-06-05 | 2026-06-20 | 2026-06-05 | seen+comp: reg. 93, HMRC VATTOS9105 and 9110
                    | 2026-06-05 | 2026-06-03 | 2026-06-03 | seen+comp: the same
         2026-03-01 | 2026-03-10 | 2026-02-20 | 2026-02-20 | seen+comp: HMRC VATTOS5105, for the sum that was paid",
    ) {
        let point = tax_point(day(completed), day(issued).unwrap(), day(paid));
        assert_eq!(Some(point), day(expected), "{completed}, {issued}, {paid}: {source}");
    }
}

/// Shares of several rates: each is rounded once (HMRC VATREC12030), and the sums are theirs. Computed.
#[test]
fn several_rates_are_rounded_each_once_and_added_up() {
    let share =
        |percent, net, held| VatShare::of(VatCategory::Standard, rate(percent), pence(net), pence(held));
    let shares = [share("20", "1545.67", "77.28"), share("5", "33.33", "1.67"), share("0", "100.00", "0")];
    let totals = InvoiceTotals::of_shares(&shares, Pence::ZERO, None, CisSoFar::default());
    // 20 % of 1,468.39 is 293.678; 5 % of 31.66 is 1.583.
    assert_eq!(totals.vat_charged, pence("293.68") + pence("1.58"));
    assert_eq!((totals.net, totals.retention), (pence("1679.00"), pence("78.95")));
    assert_eq!(totals.total, totals.taxable + totals.vat_charged);
}

#[test]
fn vat_on_a_whole_invoice_rounds_half_up() {
    for [taxable, percent, vat, source] in rows(
        "taxable | per cent | VAT    | source
         100.00  | 20       | 20.00  | seen: old HMRC page vat/forms-rates/rates/calculating.htm
         100.00  | 5        | 5.00   | seen: old HMRC page vat/forms-rates/rates/calculating.htm
         100.00  | 0        | 0.00   | seen: the same page
         99.99   | 20       | 20.00  | seen+comp: 19.998 half-up, HMRC VATREC12030; per line, 3 × 6.67, would be 20.01
         1545.67 | 20       | 309.13 | seen+comp: 309.134, HMRC VATREC12030
         1603.41 | 20       | 320.68 | run: passed the CEN EN 16931 rule files 1.3.16
         1553.41 | 20       | 310.68 | run: passed the CEN EN 16931 rule files 1.3.16
         1136.74 | 20       | 227.35 | computed: the invoice after a deposit of 416.67
         28.33   | 20       | 5.67   | run: passed the CEN EN 16931 rule files 1.3.16
         -416.67 | 20       | -83.33 | computed: a deposit carried as a negative line",
    ) {
        assert_eq!(vat_on(pence(taxable), rate(percent)).to_string(), vat, "{source}");
    }
}

#[test]
fn vat_comes_out_of_a_gross_sum() {
    for [gross, percent, vat, source] in rows(
        "gross  | per cent | VAT   | source
         60.00  | 20       | 10.00 | seen: itsrelative.co.uk, VAT fraction 1/6
         80.00  | 5        | 3.81  | seen: itsrelative.co.uk, VAT fraction 1/21
         120.00 | 20       | 20.00 | seen: old HMRC page vat/forms-rates/rates/calculating.htm
         500.00 | 20       | 83.33 | computed: a deposit
         500.00 | 0        | 0.00  | computed",
    ) {
        assert_eq!(vat_within(pence(gross), rate(percent)).to_string(), vat, "{source}");
    }
}

/// The demo week's rows come from a second, independent program. The example of labour
/// 1,200.00 and materials 345.67 is computed; taking all materials off the first payment is our
/// reading of HMRC CISR15120.
#[test]
fn the_foot_of_an_invoice() {
    for [net, materials, held, vat, reverse, cis, expected @ .., source] in rows::<15>(
        "net | cost of materials | retention % | VAT % | reverse charge | CIS % | retention | taxable | VAT stated | VAT charged | total | CIS materials | CIS | to pay | source
         3407.93 | 500.00 | 0 | 20 | no  | -  | 0.00  | 3407.93 | 681.59 | 681.59 | 4089.52 | 0.00   | 0.00   | 4089.52 | week: householder, so no material cost is looked at
         704.59  | 47.73  | 5 | 20 | yes | 20 | 35.23 | 669.36  | 133.87 | 0.00   | 669.36  | 47.73  | 124.33 | 545.03  | week: contractor
         1545.67 | 345.67 | 0 | 20 | no  | -  | 0.00  | 1545.67 | 309.13 | 309.13 | 1854.80 | 0.00   | 0.00   | 1854.80 | computed: householder
         1545.67 | 345.67 | 0 | 20 | no  | 20 | 0.00  | 1545.67 | 309.13 | 309.13 | 1854.80 | 345.67 | 240.00 | 1614.80 | computed: contractor, end user
         1545.67 | 345.67 | 0 | 20 | yes | 20 | 0.00  | 1545.67 | 309.13 | 0.00   | 1545.67 | 345.67 | 240.00 | 1305.67 | seen+comp: HMRC VATREVCON37100, VATREVCON23000
         1545.67 | 345.67 | 5 | 20 | yes | 20 | 77.28 | 1468.39 | 293.68 | 0.00   | 1468.39 | 345.67 | 224.54 | 1243.85 | computed: with retention
         700.00  | 200.00 | 0 | 20 | no  | 20 | 0.00  | 700.00  | 140.00 | 140.00 | 840.00  | 200.00 | 100.00 | 740.00  | seen+comp: gov.uk CIS deductions; pattersonhallaccountants.co.uk
         2500.00 | 800.00 | 0 | 20 | no  | 30 | 0.00  | 2500.00 | 500.00 | 500.00 | 3000.00 | 800.00 | 510.00 | 2490.00 | seen+comp: third-party page, weaker
         2000.00 | 0.00   | 5 | 20 | no  | -  | 100.00 | 1900.00 | 380.00 | 380.00 | 2280.00 | 0.00  | 0.00   | 2280.00 | seen+comp: HMRC VATTOS5170; passed the CEN rule files
         100.00  | 150.00 | 0 | 20 | no  | 20 | 0.00  | 100.00  | 20.00  | 20.00  | 120.00  | 150.00 | 0.00   | 120.00  | computed: more materials than due",
    ) {
        let terms = InvoiceTerms {
            retention_percent: rate(held),
            vat_percent: rate(vat),
            reverse_charge: yes(reverse),
            cis_percent: (cis != "-").then(|| rate(cis)),
        };
        let totals = InvoiceTotals::of(pence(net), pence(materials), terms, CisSoFar::default());
        let InvoiceTotals { net: same_net, retention, taxable, vat_stated, vat_charged, .. } = totals;
        let InvoiceTotals { total, cis_materials, cis, to_pay, .. } = totals;
        assert_eq!(same_net, pence(net), "{source}");
        let foot = [retention, taxable, vat_stated, vat_charged, total, cis_materials, cis, to_pay];
        assert_eq!(foot.map(|sum| sum.to_string()), expected, "{source}");
    }
}

/// HMRC CISR15120 (seen): the deduction is made on what is paid. The figures are computed, or given
/// by the second program where the row says so.
#[test]
fn cis_is_reckoned_on_all_that_was_due_so_far() {
    let mut account = CisSoFar::default();
    let mut current = "";
    for [contract, due, materials, percent, cis, in_all, source] in rows(
        "contract  | due     | materials | CIS % | CIS    | in all | source
         mill      | 669.36  | 47.73     | 20    | 124.33 | 124.33 | week: first invoice
         mill      | 35.23   | 0         | 20    | 7.04   | 131.37 | computed: release of the retention, 7.046 by itself
         labour    | 1468.39 | 345.67    | 20    | 224.54 | 224.54 | computed
         labour    | 77.28   | 0         | 20    | 15.46  | 240.00 | computed: closes on 20 % of 1,200.00
         small     | 100.00  | 150.00    | 20    | 0.00   | 0.00   | computed: 50.00 of materials do not fit
         small     | 200.00  | 0         | 20    | 30.00  | 30.00  | computed: and come off here
         credited  | 500.00  | 0         | 20    | 100.00 | 100.00 | computed
         credited  | -100.00 | 0         | 20    | 0.00   | 100.00 | computed: nothing is taken back
         credited  | 300.00  | 0         | 20    | 40.00  | 140.00 | computed: it comes off the next
         unknown   | 1700.00 | 0         | 30    | 510.00 | 510.00 | seen+comp: third-party page, weaker
         inclusive | 2700.00 | 800.00    | 20    | 380.00 | 380.00 | seen+comp: 3,000 with 300 of VAT; third-party page, weaker
         gross     | 2700.00 | 800.00    | 0     | 0.00   | 0.00   | seen: gov.uk CIS deductions, gross payment status",
    ) {
        if contract != current {
            (account, current) = (CisSoFar::default(), contract);
        }
        let (due, materials, percent) = (pence(due), pence(materials), rate(percent));
        assert_eq!(account.expected_on(due, materials, percent).to_string(), cis, "{contract}: {source}");
        account = account.after(due, materials, percent);
        assert_eq!(account.expected.to_string(), in_all, "{contract}: {source}");
    }
}

#[test]
fn the_retention_released_is_its_own_invoice() {
    let terms = InvoiceTerms {
        retention_percent: Rate::ZERO,
        vat_percent: rate("20"),
        reverse_charge: true,
        cis_percent: Some(rate("20")),
    };
    let earlier = CisSoFar::default().after(pence("1468.39"), pence("345.67"), rate("20"));
    let release = InvoiceTotals::of(pence("77.28"), Pence::ZERO, terms, earlier);
    // Computed; the case with reverse charge.
    assert_eq!(release.total, pence("77.28"));
    assert_eq!(release.cis, pence("15.46"));
    assert_eq!(release.to_pay, pence("61.82"));
}

/// HMRC VATREVCON45000 and SI 2019/892 (seen) for the rule; each row breaks one condition.
#[test]
fn the_reverse_charge_follows_from_the_parties_facts() {
    use VatTreatment as T;
    for [within, supplier, customer, contractor, percent, end_user, expected, case] in rows(
        "within CIS | supplier VAT | customer VAT | customer CIS | VAT % | end user | treatment | case
         yes | yes | yes | yes | 20 | no  | reverse charge    | seen: VAT-registered main contractor
         yes | yes | yes | yes | 5  | no  | reverse charge    | seen: at the reduced rate too
         yes | yes | yes | yes | 20 | yes | end user          | seen: the same contractor with a statement
         yes | yes | no  | no  | 20 | no  | customer not VAT  | seen: private householder
         yes | no  | yes | yes | 20 | no  | supplier not VAT  | seen: crew not registered, no VAT
         yes | yes | yes | no  | 20 | no  | customer not CIS  | seen: a business that is no contractor
         no  | yes | yes | yes | 20 | no  | outside CIS       | seen: work that CIS does not cover
         yes | yes | yes | yes | 0  | no  | zero-rated        | seen: nothing to charge
         no  | no  | no  | no  | 0  | yes | supplier not VAT  | computed: without registration nothing else matters",
    ) {
        let facts = ReverseChargeFacts {
            within_cis: yes(within),
            supplier_vat_registered: yes(supplier),
            customer_vat_registered: yes(customer),
            customer_cis_registered: yes(contractor),
            vat_percent: rate(percent),
            end_user_statement: yes(end_user),
        };
        let treatment = facts.treatment();
        let name = match treatment {
            T::ReverseCharge => "reverse charge",
            T::SupplierNotRegistered => "supplier not VAT",
            T::ZeroRated => "zero-rated",
            T::OutsideCis => "outside CIS",
            T::CustomerNotVatRegistered => "customer not VAT",
            T::CustomerNotCisRegistered => "customer not CIS",
            T::EndUser => "end user",
        };
        assert_eq!(name, expected, "{case}");
        assert_eq!(treatment.is_reverse_charge(), expected == "reverse charge", "{case}");
        assert_eq!(treatment.reason().starts_with("Reverse charge:"), treatment.is_reverse_charge());
        assert!(treatment.to_string().ends_with('.') && !treatment.to_string().contains("  "), "{treatment}");
    }
}

fn payments() -> impl Strategy<Value = Vec<(i64, i64)>> {
    proptest::collection::vec((-50_000_i64..200_000, 0_i64..100_000), 1..12)
}

proptest! {
    /// In all, as much is expected as the highest that was ever owed on the sums so far; so when the
    /// work only grows faster than its materials, the steps add up to CIS on the whole.
    #[test]
    fn cis_over_all_steps_is_cis_on_the_whole(steps in payments(), percent in prop_oneof![Just("20"), Just("30")]) {
        let percent = rate(percent);
        let (mut account, mut taken, mut base, mut highest) = (CisSoFar::default(), Pence::ZERO, 0, Pence::ZERO);
        for (due, materials) in &steps {
            let expected = account.expected_on(Pence(*due), Pence(*materials), percent);
            prop_assert!(expected >= Pence::ZERO);
            taken += expected;
            account = account.after(Pence(*due), Pence(*materials), percent);
            base += due - materials;
            highest = highest.max(percentage(Pence(base.max(0)), percent));
        }
        prop_assert_eq!(taken, account.expected);
        prop_assert_eq!(taken, highest);
        if steps.iter().skip(1).all(|(due, materials)| due >= materials) {
            prop_assert_eq!(taken, percentage(Pence(base.max(0)), percent));
        }
    }

    /// The VAT that went on comes out again, to the penny, at any rate.
    #[test]
    fn vat_goes_on_and_comes_out(net in 0_i64..1_000_000_000, tenths in 0_i64..1_000) {
        let percent = Rate::new(Decimal::new(tenths, 1)).unwrap();
        let vat = vat_on(Pence(net), percent);
        prop_assert_eq!(vat_within(Pence(net) + vat, percent), vat);
    }

    /// Retention and taxable are the net; VAT charged is the VAT stated or nothing; CIS lowers only what is to pay.
    #[test]
    fn the_foot_adds_up(
        net in any::<i32>(), materials in 0..i32::MAX, held in 0_i64..=10, reverse: bool, cis in proptest::option::of(0_i64..=30),
    ) {
        let percent = |whole: i64| Rate::new(whole.into()).unwrap();
        let terms = InvoiceTerms {
            retention_percent: percent(held),
            vat_percent: percent(20),
            reverse_charge: reverse,
            cis_percent: cis.map(percent),
        };
        let foot = InvoiceTotals::of(Pence(net.into()), Pence(materials.into()), terms, CisSoFar::default());
        prop_assert_eq!(foot.retention + foot.taxable, foot.net);
        prop_assert_eq!(foot.vat_charged, if reverse { Pence::ZERO } else { foot.vat_stated });
        prop_assert_eq!(foot.total, foot.taxable + foot.vat_charged);
        prop_assert_eq!(foot.to_pay + foot.cis, foot.total);
        prop_assert!(cis.is_some() || foot.cis.0 == 0);
    }

    /// Numbers from outside may be absurd; they must not bring the program down.
    #[test]
    fn nothing_panics(due in any::<i64>(), materials in any::<i64>(), earlier in any::<i64>(), digits in any::<i64>(), places in 0..=9_u32) {
        let percent = Rate::new(Decimal::new(digits, places)).unwrap();
        let account = CisSoFar { due: Pence(earlier), materials: Pence(due), expected: Pence(materials) };
        let terms = InvoiceTerms {
            retention_percent: percent,
            vat_percent: percent,
            reverse_charge: false,
            cis_percent: Some(percent),
        };
        let _ = InvoiceTotals::of(Pence(due), Pence(materials), terms, account);
        let _ = account.after(Pence(due), Pence(materials), percent);
        let _ = (vat_within(Pence(due), percent), vat_within(Pence(due), rate("-100")));
    }
}
