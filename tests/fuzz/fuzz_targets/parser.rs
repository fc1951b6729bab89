//! Feeds the reader that `STOWHEAT_PARSER` names.
#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use stowheat_tests::parsers::{PARSERS, Parser};

static CHOSEN: LazyLock<&Parser> = LazyLock::new(|| {
    let name = std::env::var("STOWHEAT_PARSER").unwrap_or_default();
    let names: Vec<&str> = PARSERS.iter().map(|parser| parser.name).collect();
    PARSERS
        .iter()
        .find(|parser| parser.name == name)
        .unwrap_or_else(|| panic!("set STOWHEAT_PARSER to one of {names:?}"))
});

fuzz_target!(|bytes: &[u8]| (CHOSEN.read)(bytes));
