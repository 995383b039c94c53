//! What the wire of a job is bought for, what else a batch costs, and what is asked for it.

use std::ops::RangeInclusive;

use iso_currency::Currency;
use rust_decimal::prelude::FromPrimitive as _;
use rust_decimal::{Decimal, RoundingStrategy};
use serde::Deserialize;
use toml::value::Datetime;
use turntally_core::units::{Density, Grams, Length, Mm};

use super::{WireTable, number, price};
use crate::failure::Failure;
use crate::lookup::Price;

/// The highest price or wage that is taken.
const MOST: f64 = 1e9;
/// The most that a ring may cost beside its wire.
const MOST_A_RING: f64 = 1e6;
/// The highest markup, in percent of the cost.
const MOST_MARKUP: f64 = 10_000.0;
/// The highest margin, in percent of the price: past it a price rises without bound.
const MOST_MARGIN: f64 = 95.0;

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MoneyTable {
    labour_per_hour: Option<f64>,
    blade_per_ring: Option<f64>,
    lubricant_per_ring: Option<f64>,
    finishing_per_ring: Option<f64>,
    scrap_credit_percent: Option<f64>,
    markup_percent: Option<f64>,
    margin_percent: Option<f64>,
}

/// What a batch costs beside its wire, and what is asked for it. Amounts are in the currency of the wire's price.
#[derive(Debug, Clone, PartialEq)]
pub struct Money {
    /// For an hour at the bench.
    pub labour_per_hour: Decimal,
    /// For each ring made: the blade's wear.
    pub blade_per_ring: Decimal,
    /// For each ring made: what the coil is lubricated with.
    pub lubricant_per_ring: Decimal,
    /// For each ring made: washing, tumbling and what else finishes it.
    pub finishing_per_ring: Decimal,
    /// Swarf and offcuts go back for this share of the wire's price, 0 to 1.
    pub scrap_credit: Decimal,
    /// How the price follows from the cost; `None` where no price is asked.
    pub asked: Option<Asked>,
}

/// How a price follows from a cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Asked {
    /// The cost and this share of the cost, 0 to 100.
    Markup(Decimal),
    /// So that this share of the price is left after the cost, 0 to 0.95.
    Margin(Decimal),
}

impl Asked {
    /// The price for what costs so much, not rounded.
    #[must_use]
    pub fn price(self, cost: Decimal) -> Decimal {
        match self {
            Self::Markup(share) => cost * (Decimal::ONE + share),
            Self::Margin(share) => cost / (Decimal::ONE - share),
        }
    }
}

impl Money {
    pub(super) fn check(table: Option<&MoneyTable>, has_price: bool) -> Result<Option<Self>, Failure> {
        let Some(table) = table else { return Ok(None) };
        if !has_price {
            let why = "[money] is in the currency of the wire's price: give wire.price_per_kg and wire.currency, or wire.spool with a spool that has a price";
            return Err(Failure::new(why));
        }
        let asked = match (table.markup_percent, table.margin_percent) {
            (Some(_), Some(_)) => {
                return Err(Failure::new(
                    "money.markup_percent and money.margin_percent: only one of them is allowed",
                ));
            }
            (Some(markup), None) => {
                Some(Asked::Markup(share("money.markup_percent", Some(markup), 0.0..=MOST_MARKUP)?))
            }
            (None, Some(margin)) => {
                Some(Asked::Margin(share("money.margin_percent", Some(margin), 0.0..=MOST_MARGIN)?))
            }
            (None, None) => None,
        };
        let a_ring = |field, value| amount(field, value, 0.0..=MOST_A_RING, "per ring");
        Ok(Some(Self {
            labour_per_hour: amount("money.labour_per_hour", table.labour_per_hour, 0.0..=MOST, "per hour")?,
            blade_per_ring: a_ring("money.blade_per_ring", table.blade_per_ring)?,
            lubricant_per_ring: a_ring("money.lubricant_per_ring", table.lubricant_per_ring)?,
            finishing_per_ring: a_ring("money.finishing_per_ring", table.finishing_per_ring)?,
            scrap_credit: share("money.scrap_credit_percent", table.scrap_credit_percent, 0.0..=100.0)?,
            asked,
        }))
    }
}

fn amount(
    field: &str,
    value: Option<f64>,
    allowed: RangeInclusive<f64>,
    unit: &str,
) -> Result<Decimal, Failure> {
    Ok(decimal(number(field, value.unwrap_or(0.0), allowed, unit)?))
}

fn share(field: &str, percent: Option<f64>, allowed: RangeInclusive<f64>) -> Result<Decimal, Failure> {
    Ok(amount(field, percent, allowed, "percent")? / Decimal::ONE_HUNDRED)
}

/// A number as it was written: a binary fraction's nearest decimal of 15 digits or so. Nothing for one that no decimal
/// holds, which the fields' ranges leave out.
#[must_use]
pub fn decimal(number: f64) -> Decimal {
    Decimal::from_f64(number).unwrap_or_default()
}

/// The price of the wire, from the one field of `[wire]` that gives it, and its date.
pub(super) fn wire_price(
    table: &WireTable,
    wire: Length,
    density: Density,
) -> Result<(Option<Price>, Option<String>), Failure> {
    // Grams of a metre: a length of wire is bought for what it weighs.
    let metre = density.wire_mass(wire, Mm::new(1_000.0)).get();
    let given = [
        ("wire.price_per_kg", table.price_per_kg, "per kilogram", 1_000.0),
        ("wire.price_per_ozt", table.price_per_ozt, "per troy ounce", Grams::TROY_OUNCE),
        ("wire.price_per_lb", table.price_per_lb, "per pound", Grams::POUND),
        ("wire.price_per_m", table.price_per_m, "per metre", metre),
        ("wire.price_per_ft", table.price_per_ft, "per foot", metre * 0.3048),
    ];
    let mut priced =
        given.into_iter().filter_map(|(field, price, unit, grams)| Some((field, price?, unit, grams)));
    let first = priced.next();
    if let (Some((one, ..)), Some((other, ..))) = (first, priced.next()) {
        return Err(Failure::new(format_args!("{one} and {other}: only one of them is allowed")));
    }
    let price = match first {
        None => price(["wire.price_per_kg", "wire.currency"], "", None, table.currency.clone())?,
        Some((field, value, unit, grams)) => {
            price([field, "wire.currency"], unit, Some(value), table.currency.clone())?
                .map(|price| Price { per_kg: price.per_kg * 1_000.0 / grams, ..price })
        }
    };
    let date = table.price_date.as_deref().map(|date| {
        let whole_day = date.parse::<Datetime>().is_ok_and(|read| read.date.is_some() && read.time.is_none());
        if !whole_day {
            return Err(Failure::value("wire.price_date", date, "a day is allowed, such as 2026-03-14"));
        }
        if price.is_none() {
            return Err(Failure::value("wire.price_date", date, "a date alone is no price: give one too"));
        }
        Ok(date.to_owned())
    });
    Ok((price, date.transpose()?))
}

/// How many decimal places a currency has: those of ISO 4217, or two where it is not listed there.
#[must_use]
pub fn places(currency: &str) -> u32 {
    Currency::from_code(&currency.to_uppercase()).and_then(Currency::exponent).map_or(2, u32::from)
}

/// An amount rounded to the currency's smallest unit, a half away from nothing as invoices do (common practice, no
/// source).
#[must_use]
pub fn rounded(amount: Decimal, places: u32) -> Decimal {
    let mut rounded = amount.round_dp_with_strategy(places, RoundingStrategy::MidpointAwayFromZero);
    rounded.rescale(places);
    rounded
}
