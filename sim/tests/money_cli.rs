//! What a batch costs and what is asked for it: amounts in decimals that add up as printed, the price of wire by mass
//! or length, and the quote.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

mod run;

use std::fs;

use proptest::prelude::*;
use rust_decimal::Decimal;
use serde_json::Value;
use turntally_sim::job::Job;
use turntally_sim::job::money::{Asked, decimal, places, rounded};
use turntally_sim::plan::figures::Plan;
use turntally_sim::plan::money::Account;
use turntally_sim::plan::quote::{self, Heading};

/// 500 rings of silver wire that costs 900 a kilogram; then what a test adds.
fn job(wire: &str, money: &str) -> String {
    format!(
        "[job]\nname = \"trial\"\nrings = 500\nspare_percent = 10\n\
         [wire]\nmetal = \"sterling-silver\"\nsize = \"1.0mm\"\ndensity_g_cm3 = 10.4\nspring_ratio = 1.02\n{wire}\n\
         [mandrel]\ndiameter = \"5mm\"\n[winder]\npulses_per_rev = 600\n\
         [cutter]\ncoil_max = \"60mm\"\nkerf = \"0.3mm\"\n{money}\n"
    )
}

const PRICE: &str = "price_per_kg = 900\ncurrency = \"EUR\"";

fn account(wire: &str, money: &str) -> (Plan, Account) {
    let job = Job::parse(&job(wire, money)).unwrap();
    let plan = Plan::of(&job).unwrap();
    let account = Account::of(&job, &plan).unwrap();
    (plan, account)
}

fn refused(arguments: &[&str], words: &[&str]) {
    let line = run::refusal(arguments);
    for word in words {
        assert!(line.contains(word), "{word:?} is not in {line:?}");
    }
}

fn amount(text: &str) -> Decimal {
    text.parse().unwrap()
}

/// A margin is a share of the price and a markup one of the cost: a cost of 80 with a margin of 20 % and with a markup of
/// 25 % is a price of 100 (textbook arithmetic, from memory).
#[test]
fn margin_and_markup_are_shares_of_price_and_cost() {
    let (cost, price) = (Decimal::from(80), Decimal::from(100));
    assert_eq!(Asked::Margin(amount("0.2")).price(cost), price);
    assert_eq!(Asked::Markup(amount("0.25")).price(cost), price);
}

/// Currencies have as many decimal places as ISO 4217 gives them (its list one, from memory), others two; a half is
/// rounded away from nothing, as a binary fraction of 1.005 would not be.
#[test]
fn amounts_are_rounded_as_the_currency_is() {
    let cases =
        [("EUR", "1.01"), ("usd", "1.01"), ("JPY", "1"), ("KWD", "1.005"), ("beads", "1.01"), ("", "1.01")];
    for (currency, expected) in cases {
        assert_eq!(rounded(decimal(1.005), places(currency)).to_string(), expected, "{currency}");
    }
    assert_eq!(rounded(decimal(-1.005), 2).to_string(), "-1.01");
}

/// Each line, by hand from the plan's own figures: 550 rings are made, 500 shared over.
#[test]
fn lines_are_what_they_say() {
    let (plan, account) = account(
        PRICE,
        "[money]\nlabour_per_hour = 30\nblade_per_ring = 0.01\nlubricant_per_ring = 0.001\nfinishing_per_ring = 0.02\n\
         scrap_credit_percent = 50\nmargin_percent = 20",
    );
    assert_eq!((plan.rings_planned, account.rings, account.ounce), (550, 500, "ozt"));
    let cents = |amount: f64| rounded(decimal(amount), 2);
    let scrap = plan.ends_as.swarf.get() + plan.ends_as.offcut.get();
    let expected = [
        ("wire", cents(plan.wire_mass.get() * 0.9)),
        ("labour", cents(plan.minutes.best * 0.5)),
        ("blade", amount("5.50")),
        ("lubricant", amount("0.55")),
        ("finishing", amount("11.00")),
        ("scrap", cents(-scrap * 0.45)),
    ];
    assert_eq!(account.lines, expected);
    let cost: Decimal = expected.iter().map(|&(_, amount)| amount).sum();
    assert_eq!(account.cost.whole, cost);
    let price = account.price.unwrap();
    // Four fifths of the price are the cost, to the cent.
    assert!((price.whole * amount("0.8") - cost).abs() <= amount("0.005"), "{price:?}, cost {cost}");
    assert_eq!(price.hundred, rounded(price.whole / Decimal::from(5), 2));
    assert_eq!(price.ring, rounded(price.whole / Decimal::from(500), 4));
    // A troy ounce is 31.1034768 g (NIST SP 811, appendix B).
    let ounces = 500.0 * plan.ring_mass.get() / 31.103_476_8;
    assert_eq!(price.ounce, rounded(price.whole / decimal(ounces), 2));
}

/// The same wire, bought by mass or by length, costs the same. One pound is 0.453 592 37 kg, one troy ounce
/// 31.103 476 8 g, one foot 0.3048 m (NIST SP 811, appendix B); a metre of this wire is 10.4 g/cm3 x pi/4 mm2.
#[test]
fn wire_costs_the_same_by_mass_and_by_length() {
    let metre = 10.4 * std::f64::consts::FRAC_PI_4 / 1_000.0;
    for (field, kilograms) in [
        ("price_per_kg", 1.0),
        ("price_per_lb", 0.453_592_37),
        ("price_per_ozt", 0.031_103_476_8),
        ("price_per_m", metre),
        ("price_per_ft", metre * 0.3048),
    ] {
        let job = Job::parse(&job(&format!("{field} = {}", 900.0 * kilograms), "")).unwrap();
        let per_kg = job.price.unwrap().per_kg;
        assert!((per_kg / 900.0 - 1.0).abs() < 1e-12, "{field}: {per_kg}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever the job: the printed lines add up to the printed cost, the price is never below the cost, and all of
    /// them have the places of the currency.
    #[test]
    fn printed_lines_add_up(
        per_kg in 0.0..2_000.0_f64, hour in 0.0..200.0_f64, ring in 0.0..3.0_f64, scrap in 0.0..=100.0_f64,
        margin in 0.0..=95.0_f64, currency in prop::sample::select(vec!["EUR", "JPY", "KWD"]),
    ) {
        let (_, account) = account(
            &format!("price_per_kg = {per_kg:?}\ncurrency = \"{currency}\""),
            &format!("[money]\nlabour_per_hour = {hour:?}\nblade_per_ring = {ring:?}\nscrap_credit_percent = {scrap:?}\n\
                      margin_percent = {margin:?}"),
        );
        let printed = |amount: Decimal| amount.to_string();
        let sum: Decimal = account.lines.iter().map(|&(_, line)| amount(&printed(line))).sum();
        prop_assert_eq!(printed(sum), printed(account.cost.whole));
        let price = account.price.unwrap().whole;
        prop_assert!(price >= account.cost.whole);
        prop_assert_eq!([price.scale(), sum.scale()], [places(currency); 2]);
    }
}

/// At the command line: the table, the basis, the object.
#[test]
fn plan_prints_cost_and_price() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("job.toml");
    let money = "[money]\nlabour_per_hour = 30\nscrap_credit_percent = 50\nmarkup_percent = 25";
    fs::write(&path, job(&format!("{PRICE}\nprice_date = \"2026-03-14\""), money)).unwrap();
    let text = run::printed(&["plan", path.to_str().unwrap()]);
    for words in [
        "EUR     in all  a ring  100 rings",
        "Wire at 900.00 a kg of 2026-03-14.",
        "Price: cost and 25 % of it.",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    let object: Value = run::json(&["plan", path.to_str().unwrap(), "--json"]);
    let money = &object["money"];
    let number = |key: &str| money[key].as_f64().unwrap_or_else(|| panic!("{key}: {money}"));
    let sum = number("wire") + number("labour") + number("scrap");
    assert!((sum - number("cost")).abs() < 1e-9 && number("scrap") < 0.0, "{money}");
    assert!((number("price") / number("cost") - 1.25).abs() < 1e-4, "{money}");
    for key in ["price_per_ring", "price_per_100_rings", "price_per_troy_ounce", "cost_per_ring"] {
        number(key);
    }
}

/// Each wrong field is one line.
#[test]
fn wrong_money_is_refused_in_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("job.toml");
    let cases: &[(&str, &str, &[&str])] = &[
        (PRICE, "[money]\nlabour_per_hour = -1", &["money.labour_per_hour '-1'", "0 to 1000000000 per hour"]),
        (PRICE, "[money]\nlabour_per_hour = \"30\"", &["money.labour_per_hour", "a number"]),
        (PRICE, "[money]\nblade_per_ring = 1e7", &["money.blade_per_ring", "0 to 1000000 per ring"]),
        (PRICE, "[money]\nlubricant_per_ring = nan", &["money.lubricant_per_ring", "NaN"]),
        (PRICE, "[money]\nfinishing_per_ring = -0.1", &["money.finishing_per_ring '-0.1'", "per ring"]),
        (
            PRICE,
            "[money]\nscrap_credit_percent = 101",
            &["money.scrap_credit_percent '101'", "0 to 100 percent"],
        ),
        (PRICE, "[money]\nmargin_percent = 100", &["money.margin_percent '100'", "0 to 95 percent"]),
        (PRICE, "[money]\nmarkup_percent = 10001", &["money.markup_percent '10001'", "0 to 10000 percent"]),
        (
            PRICE,
            "[money]\nmarkup_percent = 1\nmargin_percent = 1",
            &["markup_percent and", "only one of them"],
        ),
        (PRICE, "[money]\nwage = 30", &["money.wage", "labour_per_hour"]),
        ("", "[money]\nmarkup_percent = 1", &["[money]", "give wire.price_per_kg", "wire.spool"]),
        (
            "price_per_kg = 1\nprice_per_ozt = 1",
            "",
            &["wire.price_per_kg and wire.price_per_ozt", "only one"],
        ),
        ("price_per_m = -1", "", &["wire.price_per_m '-1'", "0 to 1000000000 per metre"]),
        ("price_per_ft = 1e12", "", &["wire.price_per_ft", "per foot"]),
        ("price_per_m = 1\nprice_date = \"14.3.2026\"", "", &["wire.price_date '14.3.2026'", "2026-03-14"]),
        ("price_per_m = 1\nprice_date = \"2026-02-30\"", "", &["wire.price_date '2026-02-30'", "2026-03-14"]),
        ("price_per_m = 1\nprice_date = \"2026-03-14T10:00:00\"", "", &["wire.price_date", "a day"]),
        ("price_date = \"2026-03-14\"", "", &["wire.price_date", "no price"]),
    ];
    for (wire, money, words) in cases {
        fs::write(&path, job(wire, money)).unwrap();
        refused(&["plan", path.to_str().unwrap()], words);
    }
}

/// The quote has the maker's heading, the rings and the price, all as text, and nothing of the cost.
#[test]
fn quote_shows_the_price_and_no_cost() {
    let text = job(PRICE, "[money]\nlabour_per_hour = 30\nmarkup_percent = 25")
        .replace("trial", "<b>chain</b> & more");
    let job = Job::parse(&text).unwrap();
    let plan = Plan::of(&job).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("me.txt");
    fs::write(&path, "\n  Birch Lane Rings \n<i>12</i> Birch Lane\n").unwrap();
    let page = quote::render(&job, &plan, Some(&Heading::load(&path).unwrap())).unwrap();
    let account = Account::of(&job, &plan).unwrap();
    let price = account.price.unwrap();
    for words in [
        "<strong>Birch Lane Rings</strong>",
        "&lt;i&gt;12&lt;/i&gt; Birch Lane",
        "&lt;b&gt;chain&lt;/b&gt; &amp; more",
        &format!("<td>500</td><td>{}</td><td>{}</td><td>{}</td>", price.ring, price.hundred, price.whole),
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    let secret = [account.cost.whole, account.cost.hundred, account.cost.ring, account.lines[1].1];
    assert!(secret.iter().all(|amount| !page.contains(&amount.to_string())), "{secret:?}: {page}");
    assert!(!page.contains("<b>chain") && !page.contains("<i>12"));
}

/// What cannot be quoted is one line, and no file is written, nor one that is read lost.
#[test]
fn wrong_quotes_are_refused_whole() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (with, without, heading, page) =
        (at("with.toml"), at("without.toml"), at("me.txt"), at("quote.html"));
    fs::write(&with, job(PRICE, "[money]\nmarkup_percent = 25")).unwrap();
    fs::write(&without, job(PRICE, "[money]\nlabour_per_hour = 30")).unwrap();
    fs::write(&heading, "Birch Lane Rings\n").unwrap();
    let empty = at("empty.txt");
    fs::write(&empty, " \n\n").unwrap();
    let long = at("long.txt");
    fs::write(&long, "x\n".repeat(9)).unwrap();
    let wide = at("wide.txt");
    fs::write(&wide, "x".repeat(61)).unwrap();
    let plan = |job: &str, more: &[&str], words: &[&str]| {
        let mut arguments = vec!["plan", job];
        arguments.extend(more);
        refused(&arguments, words);
    };
    plan(&without, &["--quote", &page], &["--quote", "money.markup_percent"]);
    plan(&with, &["--heading", &heading], &["--quote"]);
    plan(&with, &["--quote", &page, "--heading", &at("missing.txt")], &["missing.txt", "No such file"]);
    plan(&with, &["--quote", &page, "--heading", &empty], &["empty.txt", "first line"]);
    plan(&with, &["--quote", &page, "--heading", &long], &["long.txt", "at most 8 lines"]);
    plan(&with, &["--quote", &page, "--heading", &wide], &["wide.txt", "at most 60"]);
    plan(&with, &["--quote", &heading, "--heading", &heading], &["me.txt"]);
    plan(&with, &["--quote", &page, "--sheet", &page], &["--sheet", "--quote"]);
    assert!(!fs::exists(&page).unwrap());
    assert_eq!(fs::read_to_string(&heading).unwrap(), "Birch Lane Rings\n");
    run::printed(&["plan", &with, "--quote", &page, "--heading", &heading]);
    assert!(fs::read_to_string(&page).unwrap().contains("Birch Lane Rings"));
}
