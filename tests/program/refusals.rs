//! What is refused, with which exit code and in which words.

use super::{
    DEMO, DEMO_AT, DEMO_PRICES, LARGE, SMALL, done, fixture, large_prices, refused, says, series,
    stowheat, written,
};

#[test]
fn help_and_version_are_data() {
    says(&done(&["--help"]).data, &["Examples:", "stowheat plan", "Exit codes: 0 done"]);
    says(&done(&["plan", "--help"]).data, &["--prices", "--at", "--explain", "--chart"]);
    says(&done(&["--version"]).data, &["stowheat 0."]);
}

#[test]
fn a_wrong_command_line_is_64() {
    says(&refused(64, &[]), &["Usage"]);
    says(&refused(64, &["plam"]), &["plam", "plan"]);
    says(&refused(64, &["plan", "--pries", "x.csv"]), &["--pries", "--prices"]);
    says(&refused(64, &["schema", "house"]), &["house", "site", "plan"]);
    says(&refused(64, &["plan", "--at", "2026-04-17T06:00:00"]), &["--at", "offset"]);
    says(&refused(64, &["plan", "--explain", "side@13:00"]), &["--explain", "side", "bottom"]);
    says(&refused(64, &["plan", "--explain", "bottom@25:00"]), &["--explain", "25:00"]);
}

#[test]
fn a_chart_that_cannot_be_written_is_1() {
    let messages = refused(1, &["plan", "--chart", "no-such-folder/plan.svg"]);
    says(&messages, &["no-such-folder/plan.svg", "cannot be written"]);
}

#[test]
fn a_data_file_that_is_not_there_or_not_a_table_is_65() {
    for option in ["--prices", "--weather", "--pv", "--load", "--draws"] {
        let messages = refused(65, &["plan", SMALL, "--at", DEMO_AT, option, "no-such.csv"]);
        says(&messages, &["no-such.csv", "cannot be read"]);
        let path = written(&format!("prose{option}.csv"), "Dear neighbour,\nhere are my prices.\n");
        says(&refused(65, &["plan", SMALL, "--at", DEMO_AT, option, &path]), &["prose", "row"]);
    }
}

fn plan_with_prices(path: &str) -> [&str; 6] {
    ["plan", DEMO, "--prices", path, "--at", DEMO_AT]
}

// Failure case 3: a price that is no number never reaches the program.
#[test]
fn prices_that_are_no_numbers_are_all_told_with_their_rows() {
    let mut text = fixture(DEMO_PRICES);
    for (row, word) in [(20, "nan"), (30, "inf"), (40, "unavailable"), (50, "1e999")] {
        let line = text.lines().nth(row - 1).expect("a row").to_owned();
        let (start, _) = line.split_once(',').expect("two fields");
        text = text.replace(&line, &format!("{start},{word}"));
    }
    let messages = refused(65, &plan_with_prices(&written("no-numbers.csv", &text)));
    says(&messages, &["row 20", "\"nan\"", "row 30", "\"inf\"", "row 40", "row 50", "\"1e999\""]);
}

// Failure case 16: a time without offset is not guessed.
#[test]
fn local_times_without_offset_are_refused() {
    let text = fixture(DEMO_PRICES).replace('Z', "");
    let messages = refused(65, &plan_with_prices(&written("naive.csv", &text)));
    says(&messages, &["row 2", "offset"]);
}

// C38: missing is not zero; common practice, no published source.
#[test]
fn without_prices_there_is_no_plan() {
    says(&refused(65, &["plan", DEMO, "--at", DEMO_AT]), &["follows a price series", "--prices"]);
    for (name, day, covers) in [
        ("before.csv", "2026-04-01", "2026-04-01T00:00:00Z to 2026-04-03T00:00:00Z"),
        ("after.csv", "2026-05-01", "2026-05-01T00:00:00Z to 2026-05-03T00:00:00Z"),
    ] {
        let values = (0..96).map(|i| 70.0 + f64::from(i % 48));
        let path = written(name, &series("price_gbp_per_mwh", day, 30, values));
        let messages = refused(65, &plan_with_prices(&path));
        says(&messages, &["no price is known at 2026-04-17T05:00:00Z", covers, "--at"]);
    }
    let header_only = written("header.csv", "start_utc,price_gbp_per_mwh\n");
    refused(65, &plan_with_prices(&header_only));
    let empty = written(
        "empty-fields.csv",
        &fixture(DEMO_PRICES).lines().enumerate().fold(String::new(), |text, (row, line)| {
            let start = line.split(',').next().expect("a field");
            text + &if row == 0 { format!("{line}\n") } else { format!("{start},\n") }
        }),
    );
    refused(65, &plan_with_prices(&empty));
}

// Failure case 19: the band check stops with a question.
#[test]
fn a_unit_slip_is_refused_with_a_question() {
    // Pounds per MWh under a header that says pence per kWh.
    let text =
        fixture(DEMO_PRICES).replace("market_index_price_gbp_per_mwh", "price_pence_per_kwh");
    let messages = refused(65, &plan_with_prices(&written("slip.csv", &text)));
    says(&messages, &["which no household pays", "?", "price_pence_per_kwh"]);
}

#[test]
fn prices_in_another_currency_are_refused() {
    let text = fixture(DEMO_PRICES).replace("gbp", "eur");
    let messages = refused(65, &plan_with_prices(&written("eur.csv", &text)));
    says(&messages, &["is in EUR, but the tariff is in GBP"]);
}

#[test]
fn the_column_of_prices_must_be_there_and_may_be_named() {
    let two = fixture(DEMO_PRICES).lines().enumerate().fold(String::new(), |text, (row, line)| {
        let more = if row == 0 { "other_price_gbp_per_mwh" } else { "80" };
        text + &format!("{line},{more}\n")
    });
    // The site names one of them.
    let named = written("two-columns.csv", &two);
    let own = done(&plan_with_prices(&named)).data;
    assert_eq!(own, done(&plan_with_prices(DEMO_PRICES)).data);
    // It names one that is not there, and there are two to choose from.
    let unnamed = written("unnamed-columns.csv", &two.replace("market_index_price", "spot_price"));
    let messages = refused(65, &plan_with_prices(&unnamed));
    says(&messages, &["market_index_price_gbp_per_mwh", "spot_price_gbp_per_mwh"]);
    let chosen = [&plan_with_prices(&unnamed)[..], &["--price-column", "spot_price_gbp_per_mwh"]];
    assert_eq!(own, done(&chosen.concat()).data);
    let wrong = [&plan_with_prices(&unnamed)[..], &["--price-column", "spot_prise_gbp_per_mwh"]];
    says(&refused(65, &wrong.concat()), &["spot_prise_gbp_per_mwh", "spot_price_gbp_per_mwh"]);
}

#[test]
fn a_site_that_reads_its_load_needs_one() {
    let prices = large_prices("no-load-prices.csv");
    let messages = refused(65, &["plan", LARGE, "--prices", &prices, "--at", DEMO_AT]);
    says(&messages, &["base load is a series", "--load"]);
}

#[test]
fn an_instant_without_prices_of_the_demo_is_refused() {
    let messages = refused(65, &["plan", "--at", "2031-01-01T00:00:00Z"]);
    says(&messages, &["no price is known at 2031-01-01T00:00:00Z"]);
}

#[test]
fn a_reader_that_goes_away_is_no_fault() {
    // Data go to a closed pipe; the program must not panic.
    use std::process::{Command, Stdio};
    let mut child = Command::new(env!("CARGO_BIN_EXE_stowheat"))
        .args(["schema", "site"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("it ends");
    assert!(!String::from_utf8_lossy(&output.stderr).contains("panicked"));
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(stowheat(&["schema", "plan"]).code, 0);
}
