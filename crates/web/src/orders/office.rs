//! What the boss's forms ask for: quotes and their payment points, prices, rates, and people.

use std::fmt::Display;

use daemon::Command;
use daemon::command::{PersonRate, PointWish, QuoteCommand, QuoteWish};
use trade::{Pence, Rate};

use super::{Fields, role};
use crate::problem::Problem;
use crate::viewer::Viewer;

/// Most payment points that a form has a row for.
pub(crate) const MOST_POINTS: usize = 12;

/// Reads an order of the office; none for a name that is none of its.
///
/// # Errors
/// As [`super::read`].
pub(super) fn read(name: &str, viewer: &Viewer, fields: &Fields<'_>) -> Result<Option<Command>, Problem> {
    let command = match name {
        "quote-give" => {
            viewer.must_see_money()?;
            Command::Quote(QuoteCommand::Give(QuoteWish {
                job: fields.text("job")?,
                price: needed("price", fields.parsed("price")?)?,
                included: fields.optional("included").unwrap_or_default(),
                excluded: fields.optional("excluded").unwrap_or_default(),
            }))
        }
        "quote-agree" => {
            viewer.must_see_money()?;
            Command::Quote(QuoteCommand::Agree {
                job: fields.text("job")?,
                version: fields.parsed("version")?,
                by: fields.text("by")?,
                how: fields.listed("how")?,
                on: fields.parsed("on")?,
            })
        }
        "quote-points" => {
            viewer.must_see_money()?;
            Command::Quote(QuoteCommand::Points { job: fields.text("job")?, points: points(fields)? })
        }
        "price-extra" => {
            viewer.must_see_money()?;
            let amount = needed("amount", fields.parsed("amount")?)?;
            Command::PriceExtra { entry: fields.text("of")?, amount }
        }
        "price" => {
            viewer.must_see_money()?;
            Command::Price {
                item: fields.text("item")?,
                pack_cost: needed("price", fields.parsed("pack_cost")?)?,
                from: fields.parsed("from")?,
            }
        }
        "rate" => {
            viewer.must_see_money()?;
            Command::Rate(PersonRate {
                person: fields.text("person")?,
                job: fields.optional("job"),
                trade: fields.optional("trade"),
                cost: needed("cost", fields.parsed("cost")?)?,
                charge: needed("charge", fields.parsed("charge")?)?,
                from: fields.parsed("from")?,
            })
        }
        "add-person" => {
            viewer.must_be_owner()?;
            let (cost, charge) = (fields.parsed::<Rate>("cost")?, fields.parsed::<Rate>("charge")?);
            let rates = match (cost, charge) {
                (None, None) => None,
                (cost, charge) => Some((needed("cost", cost)?, needed("charge", charge)?)),
            };
            if rates.is_some() {
                viewer.must_see_money()?;
            }
            Command::AddPerson {
                name: fields.text("name")?,
                role: role(fields.optional("role").as_deref())?,
                rates,
            }
        }
        _ => return Ok(None),
    };
    Ok(Some(command))
}

/// The rows of the form that are not empty, in their order.
fn points(fields: &Fields<'_>) -> Result<Vec<PointWish>, Problem> {
    let mut points = Vec::new();
    for row in 1..=MOST_POINTS {
        let label = fields.optional(&format!("label-{row}")).unwrap_or_default();
        let name = format!("amount-{row}");
        let amount: Option<Pence> = fields.parsed(&name)?;
        if label.is_empty() && amount.is_none() {
            continue;
        }
        let stage = fields.optional(&format!("stage-{row}"));
        points.push(PointWish { label, amount: needed(&name, amount)?, stage });
    }
    if points.is_empty() {
        return Err(Problem::Refused("no payment point is named".to_owned()));
    }
    Ok(points)
}

pub(super) fn needed<T>(name: impl Display, value: Option<T>) -> Result<T, Problem> {
    value.ok_or_else(|| Problem::Refused(format!("{name} is empty")))
}
