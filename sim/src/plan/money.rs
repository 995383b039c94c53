//! What a batch costs and what is asked for it, in decimals: each line is rounded to the currency's smallest unit, and
//! the sums are those of the rounded lines, so that a page adds up.

use rust_decimal::Decimal;

use super::figures::Plan;
use crate::job::Job;
use crate::job::money::{Asked, decimal, places, rounded};
use crate::words::mass::Scales;
use crate::words::number::{fixed, span};

/// Decimal places of an amount for one ring, past those of the currency.
const FINER: u32 = 2;

/// An amount for the whole batch, and what that is for a ring, a hundred rings and an ounce of rings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Amount {
    /// Of the batch.
    pub whole: Decimal,
    /// For one ring, two places finer than the currency.
    pub ring: Decimal,
    /// For a hundred.
    pub hundred: Decimal,
    /// For an ounce of them, of [`Account::ounce`].
    pub ounce: Decimal,
}

/// The account of a batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Account {
    /// As the job has it.
    pub currency: String,
    /// Decimal places of the currency.
    pub places: u32,
    /// What it costs, line by line; the scrap's credit is below zero.
    pub lines: Vec<(&'static str, Decimal)>,
    /// Their sum.
    pub cost: Amount,
    /// What is asked.
    pub price: Option<Amount>,
    /// How the price follows from the cost.
    pub asked: Option<Asked>,
    /// Rings that the amounts are shared over: those wanted. The ones to spare replace rejects.
    pub rings: u32,
    /// `ozt` for precious metals, `oz` for others.
    pub ounce: &'static str,
}

impl Account {
    /// Of a planned job; `None` where the job has no `[money]`.
    #[must_use]
    pub fn of(job: &Job, plan: &Plan) -> Option<Self> {
        let (money, price) = (job.money.as_ref()?, job.price.as_ref()?);
        let places = places(&price.currency);
        let per_gram = decimal(price.per_kg) / Decimal::ONE_THOUSAND;
        let made = Decimal::from(plan.rings_planned);
        let scrap = decimal(plan.ends_as.swarf.get() + plan.ends_as.offcut.get());
        let hours = decimal(plan.minutes.best) / Decimal::from(60);
        let lines: Vec<_> = [
            ("wire", decimal(plan.wire_mass.get()) * per_gram),
            ("labour", hours * money.labour_per_hour),
            ("blade", made * money.blade_per_ring),
            ("lubricant", made * money.lubricant_per_ring),
            ("finishing", made * money.finishing_per_ring),
            ("scrap", -(scrap * per_gram * money.scrap_credit)),
        ]
        .into_iter()
        .map(|(name, amount)| (name, rounded(amount, places)))
        .filter(|&(name, amount)| name == "wire" || !amount.is_zero())
        .collect();
        let rings = plan.rings_wanted;
        let (ounce, grams) = Scales::of(job.metal).ounce();
        let ounces = decimal(f64::from(rings) * plan.ring_mass.get() / grams);
        let amount = |whole: Decimal| Amount {
            whole,
            ring: rounded(whole / Decimal::from(rings.max(1)), places + FINER),
            hundred: rounded(whole * Decimal::ONE_HUNDRED / Decimal::from(rings.max(1)), places),
            ounce: whole.checked_div(ounces).map_or(Decimal::ZERO, |each| rounded(each, places)),
        };
        let cost = lines.iter().map(|&(_, amount)| amount).sum();
        Some(Self {
            currency: price.currency.clone(),
            places,
            cost: amount(cost),
            price: money.asked.map(|asked| amount(rounded(asked.price(cost), places))),
            asked: money.asked,
            lines,
            rings,
            ounce,
        })
    }

    /// The rows of a table: what, in all, a ring, a hundred, an ounce.
    pub(crate) fn rows(&self) -> Vec<[String; 5]> {
        let named = if self.currency.is_empty() { "money" } else { &self.currency };
        let head = [named, "in all", "a ring", "100 rings", &format!("1 {}", self.ounce)].map(str::to_owned);
        let line = |&(name, amount): &(&str, Decimal)| {
            [name.to_owned(), amount.to_string(), String::new(), String::new(), String::new()]
        };
        let sum = |name: &str, Amount { whole, ring, hundred, ounce }: Amount| {
            [name.to_owned(), whole.to_string(), ring.to_string(), hundred.to_string(), ounce.to_string()]
        };
        let mut rows = vec![head];
        rows.extend(self.lines.iter().map(line));
        rows.push(sum("cost", self.cost));
        rows.extend(self.price.map(|price| sum("price", price)));
        rows
    }

    /// How the amounts come about.
    pub(crate) fn basis(&self, job: &Job, plan: &Plan) -> String {
        let mut words = Vec::new();
        let day = job.price_date.as_ref().map(|day| format!(" of {day}")).unwrap_or_default();
        if let Some(price) = &job.price {
            words.push(format!("Wire at {} a kg{day}.", rounded(decimal(price.per_kg), self.places)));
        }
        if let Some(money) = job.money.as_ref().filter(|money| !money.labour_per_hour.is_zero()) {
            let (rate, time) = (money.labour_per_hour.normalize(), plan.minutes);
            words.push(format!(
                "Labour: {} at {rate} an hour; the time may be {} to {}.",
                span(time.best),
                span(time.low),
                span(time.high)
            ));
        }
        if let Some(money) = job.money.as_ref().filter(|money| !money.scrap_credit.is_zero()) {
            let grams = fixed(plan.ends_as.swarf.get() + plan.ends_as.offcut.get(), 1);
            words.push(format!(
                "Scrap: {grams} g of swarf and offcuts at {} % of the wire's price.",
                (money.scrap_credit * Decimal::ONE_HUNDRED).normalize()
            ));
        }
        match self.asked {
            Some(Asked::Markup(share)) => {
                words
                    .push(format!("Price: cost and {} % of it.", (share * Decimal::ONE_HUNDRED).normalize()));
            }
            Some(Asked::Margin(share)) => {
                let percent = (share * Decimal::ONE_HUNDRED).normalize();
                words.push(format!("Price: {percent} % of it is left after the cost."));
            }
            None => {}
        }
        words.push(format!("Shared over the {} rings wanted.", self.rings));
        words.join(" ")
    }
}
