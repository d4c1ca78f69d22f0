//! One weighing: gross, tare and net in the unit of the scale, of which any two give the third.
//! It never takes a missing tare for none: an empty scale pan has a tare of 0, and says so.

use rust_decimal::Decimal;

use crate::exact::Exact;
use crate::fault::Faults;

/// What was entered; at least two of the three are needed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Given {
    /// With all that stood on the scale.
    pub gross: Option<Decimal>,
    /// What stood on the scale beside the goods.
    pub tare: Option<Decimal>,
    /// The goods alone.
    pub net: Option<Decimal>,
}

/// A weighing whose net is exactly its gross less its tare, and above 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Weighed {
    /// With all that stood on the scale.
    pub gross: Decimal,
    /// What stood on the scale beside the goods; not negative.
    pub tare: Decimal,
    /// The goods alone; above 0.
    pub net: Decimal,
}

/// Reads a weighing; all three in one unit. Faults: fewer than two of the three, a negative tare, a
/// net that is not gross less tare or not above 0, a third that needs more than 28 digits.
pub fn weighed(given: Given) -> Result<Weighed, Faults> {
    let mut faults = Faults::new();
    let weighed = match (given.gross, given.tare, given.net) {
        (Some(gross), Some(tare), net) => of_gross_and_tare(gross, tare, net, &mut faults),
        (Some(gross), None, Some(net)) => {
            let tare = third(&(&of(gross) - &of(net)), "tare", &mut faults);
            tare.map(|tare| Weighed { gross, tare, net })
        }
        (None, Some(tare), Some(net)) => {
            let gross = third(&(&of(tare) + &of(net)), "gross", &mut faults);
            gross.map(|gross| Weighed { gross, tare, net })
        }
        (gross, tare, net) => {
            if tare.is_none() {
                faults.add("tare", "is needed; where nothing else stood on the scale it is 0");
            }
            if gross.is_none() && net.is_none() {
                faults.add("gross", "is needed, or the net mass in its place");
            }
            None
        }
    };
    if let Some(weighed) = &weighed {
        check(weighed, &given, &mut faults);
    }
    faults.into_result(weighed)
}

fn of_gross_and_tare(
    gross: Decimal,
    tare: Decimal,
    net: Option<Decimal>,
    faults: &mut Faults,
) -> Option<Weighed> {
    let difference = &of(gross) - &of(tare);
    match net {
        Some(net) if of(net) == difference => Some(Weighed { gross, tare, net }),
        Some(net) => {
            faults.add_value("net", net, format!("must be gross less tare, {difference}"));
            None
        }
        None => {
            let net = third(&difference, "net", faults)?;
            Some(Weighed { gross, tare, net })
        }
    }
}

fn check(weighed: &Weighed, given: &Given, faults: &mut Faults) {
    if of(weighed.tare).is_negative() {
        match given.tare {
            Some(tare) => faults.add_value("tare", tare, "must not be negative"),
            None => faults.add_value("net", weighed.net, "must not be above the gross mass"),
        }
    }
    if !of(weighed.net).is_positive() {
        match given.net {
            Some(net) => faults.add_value("net", net, "must be above 0"),
            None => faults.add_value("tare", weighed.tare, "must be below the gross mass"),
        }
    }
}

fn third(exact: &Exact, field: &str, faults: &mut Faults) -> Option<Decimal> {
    let decimal = exact.to_decimal();
    if decimal.is_none() {
        faults.add_value(field, exact, "needs more than 28 digits");
    }
    decimal
}

fn of(value: Decimal) -> Exact {
    Exact::from(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn decimal(text: &str) -> Option<Decimal> {
        (!text.is_empty()).then(|| crate::exact::decimal(text).expect("a decimal"))
    }

    fn given([gross, tare, net]: [&str; 3]) -> Given {
        Given { gross: decimal(gross), tare: decimal(tare), net: decimal(net) }
    }

    fn fields(texts: [&str; 3]) -> Vec<String> {
        let faults = weighed(given(texts)).expect_err("faults").into_vec();
        faults.into_iter().map(|fault| fault.field).collect()
    }

    #[test]
    fn any_two_give_the_third() {
        // NIST Handbook 44, appendix D: net mass is gross mass less tare.
        for two in [["512.4", "38.15", ""], ["512.4", "", "474.25"], ["", "38.15", "474.25"]] {
            let weighed = weighed(given(two)).expect("a weighing");
            assert_eq!(weighed.net.to_string(), "474.25");
            assert_eq!(weighed.tare.to_string(), "38.15");
            assert_eq!(weighed.gross.to_string().trim_end_matches('0'), "512.4");
        }
        assert!(weighed(given(["512.40", "38.15", "474.25"])).is_ok());
        assert_eq!(weighed(given(["10", "0", ""])).expect("no tare").net, Decimal::from(10));
    }

    #[test]
    fn what_no_scale_can_show_is_refused_where_it_stands() {
        assert_eq!(fields(["512.4", "", ""]), ["tare"]);
        assert_eq!(fields(["", "", "474"]), ["tare"]);
        assert_eq!(fields(["", "38.15", ""]), ["gross"]);
        assert_eq!(fields(["", "", ""]), ["tare", "gross"]);
        assert_eq!(fields(["512.4", "-1", ""]), ["tare"]);
        assert_eq!(fields(["512.4", "", "513"]), ["net"]);
        assert_eq!(fields(["512.4", "38.15", "474.2500001"]), ["net"]);
        assert_eq!(fields(["38.15", "38.15", ""]), ["tare"]);
        assert_eq!(fields(["38.15", "", "0"]), ["net"]);
        assert_eq!(fields(["9999999999999999999999999999", "0.1", ""]), ["net"]);
    }

    proptest! {
        #[test]
        fn net_is_exactly_gross_less_tare(
            gross in 0i64..1_000_000_000,
            tare in 0i64..1_000_000_000,
            scales in (0u32..6, 0u32..6),
        ) {
            let gross = Decimal::new(gross, scales.0);
            let tare = Decimal::new(tare, scales.1);
            let entered = Given { gross: Some(gross), tare: Some(tare), net: None };
            match weighed(entered) {
                Ok(weighed) => {
                    prop_assert_eq!(of(weighed.net), of(gross) - of(tare));
                    prop_assert!(of(weighed.net).is_positive());
                }
                Err(_) => prop_assert!(gross <= tare),
            }
        }
    }
}
