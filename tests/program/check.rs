//! `stowheat check`.

use super::{DEMO, LARGE, SMALL, done, fixture, refused, says, written};

#[test]
fn fixtures_and_the_example_are_right() {
    for (path, name) in [
        (DEMO, "Harbour Row"),
        (SMALL, "Mill Cottage"),
        (LARGE, "Twin Gables"),
        ("fixtures/sites/kiln-house.toml", "Kiln House"),
        ("fixtures/sites/weir-lodge.toml", "Weir Lodge"),
        ("fixtures/sites/old-foundry.toml", "Old Foundry"),
        ("deploy/site.example.toml", "Example House"),
    ] {
        let ran = done(&["check", path]);
        assert_eq!(ran.messages, "", "{path}");
        says(&ran.data, &[name, "main fuse", "stowheat is not a safety device"]);
    }
}

#[test]
fn every_problem_of_a_broken_file_is_told_at_once() {
    let broken = fixture(DEMO)
        .replace("fuse_amperes = 80", "fuse_amperes = -80")
        .replace("peak_kw = 4.2", "peak_kw = 4200")
        .replace("volume_litres = 250", "volumee_litres = 250")
        .replace("by = \"06:30\"", "by = \"6.30\"")
        .replace("currency = \"GBP\"", "currency = \"pounds\"");
    let path = written("broken.toml", &broken);
    let messages = refused(78, &["check", &path]);
    says(
        &messages,
        &[
            "fuse_amperes",
            "peak_kw",
            "did you mean `volume_litres`?",
            "6.30",
            "ISO 4217",
            "5 problems in",
        ],
    );
    // Where each stands, and no colours where no terminal is.
    says(&messages, &["broken.toml:", "site.currency", "grid.fuse_amperes"]);
    assert!(!messages.contains('\u{1b}'), "{messages}");
    // Planning refuses it in the same words.
    assert_eq!(refused(78, &["plan", &path]), messages);
}

#[test]
fn a_warning_is_a_message_and_no_failure() {
    let path = written("no-cut-out.toml", &fixture(SMALL).replace("cut_out_celsius = 80\n", ""));
    let ran = done(&["check", &path]);
    says(&ran.messages, &["warning", "states no cut-out"]);
    assert!(!ran.data.contains("warning:"));
}

#[test]
fn a_file_that_is_not_there_is_a_bad_site_file() {
    says(&refused(78, &["check", "no-such-house.toml"]), &["no-such-house.toml", "cannot be read"]);
}
