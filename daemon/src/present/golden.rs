//! Files under `fixtures/golden` that outputs are compared with, byte for byte.

use std::path::Path;

/// Compares a text with a golden file; with `STOWHEAT_BLESS=1` in the
/// environment it writes the file instead.
pub(super) fn check(name: &str, text: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/golden").join(name);
    if std::env::var_os("STOWHEAT_BLESS").is_some_and(|value| value == "1") {
        std::fs::write(&path, text).expect("the golden folder can be written");
        return;
    }
    let golden = std::fs::read_to_string(&path)
        .unwrap_or_else(|e| panic!("{name}: {e}; run the test once with STOWHEAT_BLESS=1"));
    let line = (1..).zip(golden.lines().zip(text.lines())).find(|(_, (was, is))| was != is);
    if let Some((line, (was, is))) = line {
        panic!("{name} differs in line {line}\n was: {was}\n  is: {is}");
    }
    assert_eq!(golden.len(), text.len(), "{name} has another length");
}
