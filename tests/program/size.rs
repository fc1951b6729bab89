//! `stowheat size`: candidates are single replays, an interrupted study goes on
//! where it stopped, and parts join into the whole.

use std::fs::{read_dir, remove_dir_all};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::LazyLock;
use std::time::{Duration, Instant};

use serde_json::Value;

use super::{Ran, SMALL, done, fixture, refused, says, stowheat, top, written};

const POWER: &str = "store.cylinder.element.immersion.power_kw";
const CIRCUIT: &str = "store.cylinder.element.immersion.circuit_amperes";

const OPTIONS: &str = r#"
currency = "EUR"

[terms]
discount_percent = 3.5
years = 15

[[price]]
key = "store.cylinder.element.immersion.power_kw"
value = 6
equipment = 100
fitting = 300
vat_percent = 20
life_years = 15
"#;

/// A folder of results that is empty at first.
fn folder(name: &str) -> String {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    if path.exists() {
        remove_dir_all(&path).expect("an old folder");
    }
    path.display().to_string()
}

/// A study of two elements and two volumes over a day, with results in a folder.
pub(super) fn study(state: &str, more: &[&str]) -> Vec<String> {
    let options = written("size-options.toml", OPTIONS);
    let own = [
        "size",
        SMALL,
        "--from",
        "2026-04-17",
        "--to",
        "2026-04-17",
        "--vary",
        &format!("{POWER}+{CIRCUIT}=3+16,6+32"),
        "--vary",
        "store.cylinder.volume_litres=150,200",
        "--options",
        &options,
        "--state",
        state,
    ];
    own.iter().chain(more).map(|&word| word.to_owned()).collect()
}

/// The folder, data and messages of a study that nobody disturbed.
pub(super) static WHOLE: LazyLock<(String, Ran)> = LazyLock::new(|| {
    let state = folder("size-whole");
    let ran = done(&words(&study(&state, &["--json"])));
    (state, ran)
});

pub(super) fn words(list: &[String]) -> Vec<&str> {
    list.iter().map(String::as_str).collect()
}

fn results(state: &str) -> usize {
    read_dir(state).map_or(0, |files| {
        let kept = |name: &str| !name.starts_with('.') && Path::new(name).extension().is_some();
        files.flatten().filter(|file| kept(&file.file_name().to_string_lossy())).count()
    })
}

#[test]
fn a_candidate_is_a_single_replay() {
    let (state, ran) = &*WHOLE;
    says(&ran.messages, &["5 of 5", "0 s left", "results are kept in"]);
    let found: Value = serde_json::from_str(&ran.data).expect("one JSON document");
    let names: Vec<&str> = found["candidates"]
        .as_array()
        .expect("candidates")
        .iter()
        .map(|row| row["name"].as_str().expect("a name"))
        .collect();
    assert_eq!(
        names,
        ["as it is", "cylinder 200 L", "immersion 6 kW", "immersion 6 kW, cylinder 200 L"]
    );
    let text = fixture(SMALL)
        .replace("power_kw = 3", "power_kw = 6")
        .replace("circuit_amperes = 16", "circuit_amperes = 32");
    let site = written("size-6kw.toml", &text);
    let alone = done(&["replay", &site, "--from", "2026-04-17", "--to", "2026-04-17", "--json"]);
    let alone: Value = serde_json::from_str(&alone.data).expect("one JSON document");
    let row = &found["candidates"][2];
    let own = &row["worlds"][0];
    let year = 365.25;
    let near = |found: &Value, alone: &Value, what: &str| {
        let (found, alone) = (found.as_f64().expect(what), alone.as_f64().expect(what));
        assert!((found - alone * year).abs() < 0.01, "{what}: {found} and {alone} for a day");
    };
    let whole = &alone["controllers"][0]["whole"];
    near(&own["bill"], &whole["bill"], "the bill");
    near(&own["cost"], &whole["cost"], "the cost");
    near(&own["bound"], &alone["bound"]["cost"], "the bound");
    assert_eq!(own["unmet_percent"], whole["unmet_percent"]);
    // The saving is the counterfactual's cost less this one, and the two parts
    // of it make the whole.
    let minor = |value: &Value| value.as_f64().expect("money");
    let present = &found["candidates"][0]["worlds"][0];
    let counterfactual = minor(&present["best_rule_cost"]);
    assert!((minor(&own["saving"]) - (counterfactual - minor(&own["cost"]))).abs() < 0.01);
    assert!(
        (minor(&own["by_hardware"]) - (minor(&present["cost"]) - minor(&own["cost"]))).abs() < 0.01
    );
    // 400 with 20 % tax, in cents.
    assert!((minor(&row["price"]) - 48_000.0).abs() < 1e-6);
    assert!(found["candidates"][1]["price"].is_null(), "a volume without a price");
    let table = done(&words(&study(state, &["--merge"]))).data;
    says(&table, &["NOT A WHOLE YEAR", "One year only", "element immersion", "store cylinder"]);
}

#[test]
fn a_sample_stands_for_its_year_with_what_was_measured() {
    let state = folder("size-sample");
    let loss = "store.cylinder.heat_loss_watts_per_kelvin";
    let measured = format!("{loss}=1.4");
    let study = [
        "size",
        SMALL,
        "--from",
        "2026-03-01",
        "--to",
        "2026-04-30",
        "--sample",
        "3x1",
        "--measured",
        &measured,
        "--vary",
        "store.cylinder.volume_litres=150,200",
        "--state",
        &state,
    ];
    let found = done(&[&study[..], &["--json"]].concat());
    let found: Value = serde_json::from_str(&found.data).expect("one JSON document");
    assert_eq!(found["worlds"].as_array().map(Vec::len), Some(1));
    let parts = found["worlds"][0]["parts"].as_array().expect("parts");
    assert_eq!(parts.len(), 3);
    let number = |value: &Value| value.as_f64().expect("a number");
    let stand_for: f64 = parts.iter().map(|part| number(&part["stands_for_days"])).sum();
    assert!((stand_for - 365.25).abs() < 0.01, "{stand_for}");
    let grown = &found["candidates"][1];
    assert!(number(&grown["by_hardware"]["sampling_error"]) > 0.0);
    // The year is its parts, each as often as it counts.
    let in_parts = grown["worlds"][0]["by_hardware_in_parts"].as_array().expect("parts");
    assert_eq!(in_parts.len(), 3);
    let year: f64 = parts
        .iter()
        .zip(in_parts)
        .map(|(part, own)| number(&part["stands_for_days"]) / 365.25 * number(own))
        .sum();
    assert!((number(&grown["by_hardware"]["mean"]) - year).abs() < 0.5, "{year} and {grown}");
    // What the file's own number would have said stands beside it, and costs more heat.
    let beside = &found["as_calculated"];
    assert_eq!(beside["numbers"][0]["key"], loss);
    assert!(number(&beside["numbers"][0]["calculated"]) > 1.8);
    assert!(number(&beside["candidates"][0]["heat_kwh"]) > 0.0);
    let said = found["verdict"]["sentences"].to_string();
    says(&said, &["SAMPLED: ", "3 days in 3 parts", "MEASURED: "]);
    let page = Path::new(env!("CARGO_TARGET_TMPDIR")).join("size-sample.html");
    let page = page.display().to_string();
    done(&[&study[..], &["--merge", "--report", &page]].concat());
    let page = std::fs::read_to_string(page).expect("a page");
    says(&page, &["Calculated and measured", "± ", "Parts of years that were lived through"]);
}

#[test]
fn a_study_goes_on_where_it_was_killed() {
    let broken = folder("size-broken");
    let expected = &WHOLE.1.data;
    let arguments = study(&broken, &["--json", "--threads", "1"]);
    let mut child = Command::new(env!("CARGO_BIN_EXE_stowheat"))
        .args(&arguments)
        .current_dir(top())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let began = Instant::now();
    while results(&broken) < 2 && began.elapsed() < Duration::from_mins(5) {
        std::thread::sleep(Duration::from_millis(20));
    }
    child.kill().expect("it runs");
    child.wait().expect("it ends");
    let kept = results(&broken);
    assert!((2..5).contains(&kept), "{kept} results when it was killed");
    // A file that was cut short counts for nothing.
    let first = read_dir(&broken).expect("results").flatten().next().expect("a result");
    std::fs::write(first.path(), "{\"schema\":").expect("a result can be spoilt");
    let went_on = done(&words(&arguments));
    says(&went_on.messages, &["results are kept from before"]);
    assert_eq!(&went_on.data, expected);
    let again = done(&words(&arguments));
    says(&again.messages, &["5 of 5 results are kept from before"]);
    assert_eq!(&again.data, expected);
}

#[test]
fn parts_join_into_the_whole() {
    let (one, two) = (folder("size-one"), folder("size-two"));
    let part = |state: &str, part: &str| {
        let ran = stowheat(&words(&study(state, &["--shard", part])));
        assert_eq!(ran.code, 0, "{}", ran.messages);
        assert_eq!(ran.data, "");
        ran.messages
    };
    says(&part(&one, "1/2"), &["part 1/2 is done", "--merge"]);
    let missing = refused(65, &words(&study(&one, &["--state", &two, "--merge", "--json"])));
    says(&missing, &["2 of 5 results are not in", "run the missing parts"]);
    says(&part(&two, "2/2"), &["part 2/2 is done"]);
    assert_eq!((results(&one), results(&two)), (3, 2));
    let joined = done(&words(&study(&one, &["--state", &two, "--merge", "--json"])));
    assert_eq!(joined.data, WHOLE.1.data);
}

/// The results of the whole study in a folder of their own, without some.
fn copied(name: &str, without: usize) -> String {
    let state = folder(name);
    std::fs::create_dir_all(&state).expect("a folder");
    let mut files: Vec<_> =
        read_dir(&WHOLE.0).expect("results").flatten().map(|file| file.path()).collect();
    files.sort();
    for file in &files[without..] {
        let name = file.file_name().expect("a name");
        std::fs::copy(file, Path::new(&state).join(name)).expect("a copy");
    }
    state
}

#[test]
fn the_script_does_the_parts_and_joins_them() {
    let state = copied("size-script", 1);
    let arguments = study(&state, &["--json"]);
    let output = Command::new("sh")
        .arg("deploy/array/parts")
        .arg("2")
        .args(&arguments[1..])
        .env("STOWHEAT", env!("CARGO_BIN_EXE_stowheat"))
        .current_dir(top())
        .output()
        .expect("sh starts");
    let messages = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{messages}");
    says(&messages, &["part 1/2 is done"]);
    assert_eq!(String::from_utf8_lossy(&output.stdout), WHOLE.1.data);
}

#[test]
fn the_manifest_counts_its_parts_as_the_program_does() {
    let manifest = fixture("deploy/array/job.yaml");
    says(
        &manifest,
        &["completionMode: Indexed", "completions: 8", "parallelism: 8", "value: \"8\""],
    );
    let line = manifest
        .split("exec ")
        .nth(1)
        .and_then(|rest| rest.split("resources:").next())
        .expect("the command of the container");
    // Everything but the study itself, which is this test's own.
    let shard = line.split("--shard ").nth(1).expect("a part").trim();
    let bin = Path::new(env!("CARGO_BIN_EXE_stowheat")).parent().expect("a folder");
    for (index, code, expected) in [("0", 0, "part 1/8 is done"), ("8", 64, "9/8 is no part")] {
        let state = copied(&format!("size-manifest-{index}"), 0);
        let quoted: Vec<String> =
            study(&state, &[]).iter().map(|word| format!("'{word}'")).collect();
        let output = Command::new("sh")
            .arg("-c")
            .arg(format!("exec stowheat {} --shard {shard}", quoted.join(" ")))
            .env("PATH", format!("{}:/usr/bin:/bin", bin.display()))
            .env("JOB_COMPLETION_INDEX", index)
            .env("PARTS", "8")
            .current_dir(top())
            .output()
            .expect("sh starts");
        let messages = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(code), "{messages}");
        says(&messages, &[expected]);
    }
}

#[test]
fn what_makes_no_study_is_refused() {
    let dated = ["--from", "2026-04-17", "--to", "2026-04-17"];
    let with = |more: &[&str]| -> Vec<String> {
        let all = ["size", SMALL].iter().chain(&dated).chain(more);
        all.map(|&word| word.to_owned()).collect()
    };
    for (more, expected) in [
        (&["--vary", "store.cylinder.volum_litres=1,2"][..], "did you mean `volume_litres`?"),
        (&["--vary", "battery.capacity_kwh=8"], "`battery` is not in the site file"),
        (&["--vary", "grid.fuse_amperes=big"], "is not a number"),
        (&["--shard", "9/8"], "write it as 2/8"),
        (&["--to", "2026-04-18"], "give as many of both"),
        (&["--exchange", "DKK"], "write it as AUD=0.52"),
        (&["--sample", "weekly"], "write 12 for twelve weeks"),
        (&["--sample", "12"], "asks for more days than there are"),
        (
            &["--measured", "grid.fuse_amperes=60", "--vary", "grid.fuse_amperes=80"],
            "is measured and tried",
        ),
    ] {
        let state = folder("size-refused");
        let arguments = [with(more), vec!["--state".to_owned(), state]].concat();
        says(&refused(64, &words(&arguments)), &[expected]);
    }
    let options = written("size-wrong.toml", &OPTIONS.replace("EUR", "GBP"));
    says(&refused(65, &words(&with(&["--options", &options]))), &["give prices in EUR"]);
}
