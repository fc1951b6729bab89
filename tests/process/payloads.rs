//! Documents that were bent on the way: no reader of bytes may fall over them.

use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::Index;
use proptest::test_runner::{Config, TestRunner};
use stowheat_tests::parsers::PARSERS;

/// What is put into documents: numbers that are none, ends of other things, deep
/// beginnings, and bytes that are no text.
const PIECES: [&[u8]; 24] = [
    b"NaN",
    b"nan",
    b"inf",
    b"-1e999",
    b"1e-400",
    b"null",
    b"true",
    b"{}",
    b"[]",
    b"\"\"",
    b"0",
    b"-",
    b",",
    b";",
    b"\r\n",
    b"\0",
    b"\xff\xfe",
    b"\xc3",
    b"\xf0\x9f\x94\xa5",
    b"\\u0000",
    b"[[[[[[[[",
    b"{\"a\":{\"a\":",
    b"9223372036854775808",
    b"2026-02-30T25:61:61+99:99",
];

/// A way to bend a document.
#[derive(Debug, Clone)]
enum Bend {
    /// A byte becomes another.
    Byte(Index, u8),
    /// Something is put in.
    Insert(Index, usize),
    /// A stretch is left out.
    Leave(Index, Index),
    /// A stretch is said twice.
    Repeat(Index, Index),
    /// The rest is missing.
    Cut(Index),
    /// A digit becomes another, so that the form stays and the value does not.
    Digit(Index, u8),
}

fn bend() -> impl Strategy<Value = Bend> {
    let at = any::<Index>;
    prop_oneof![
        (at(), any::<u8>()).prop_map(|(at, byte)| Bend::Byte(at, byte)),
        (at(), 0..PIECES.len()).prop_map(|(at, piece)| Bend::Insert(at, piece)),
        (at(), at()).prop_map(|(from, to)| Bend::Leave(from, to)),
        (at(), at()).prop_map(|(from, to)| Bend::Repeat(from, to)),
        at().prop_map(Bend::Cut),
        (at(), b'0'..=b'9').prop_map(|(at, digit)| Bend::Digit(at, digit)),
    ]
}

/// A stretch of at most 200 bytes.
fn stretch(from: Index, to: Index, length: usize) -> std::ops::Range<usize> {
    let (from, to) = (from.index(length + 1), to.index(length + 1));
    let (from, to) = (from.min(to), from.max(to));
    from..to.min(from + 200)
}

fn bent(seed: &str, bends: &[Bend]) -> Vec<u8> {
    let mut bytes = seed.as_bytes().to_vec();
    for bend in bends {
        let length = bytes.len();
        match bend {
            Bend::Byte(at, byte) if length > 0 => bytes[at.index(length)] = *byte,
            Bend::Insert(at, piece) => {
                let at = at.index(length + 1);
                bytes.splice(at..at, PIECES[*piece].iter().copied());
            }
            Bend::Leave(from, to) => {
                bytes.drain(stretch(*from, *to, length));
            }
            Bend::Repeat(from, to) => {
                let range = stretch(*from, *to, length);
                let again = bytes[range.clone()].to_vec();
                bytes.splice(range.end..range.end, again);
            }
            Bend::Cut(at) => bytes.truncate(at.index(length + 1)),
            Bend::Digit(at, digit) => {
                let digits: Vec<usize> =
                    (0..length).filter(|i| bytes[*i].is_ascii_digit()).collect();
                if !digits.is_empty() {
                    bytes[digits[at.index(digits.len())]] = *digit;
                }
            }
            Bend::Byte(..) => {}
        }
    }
    bytes
}

// Failure case 26: so many for each reader, a million with STOWHEAT_PAYLOADS=1000000;
// for one reader alone with STOWHEAT_PARSER=topic.
#[test]
fn no_reader_falls_over_a_bent_document() {
    let cases = std::env::var("STOWHEAT_PAYLOADS").ok().and_then(|text| text.parse().ok());
    let chosen = std::env::var("STOWHEAT_PARSER").ok();
    let is_chosen = |name| chosen.as_deref().is_none_or(|chosen| chosen == name);
    for parser in PARSERS.iter().filter(|parser| is_chosen(parser.name)) {
        // Whole files take longer to read than messages.
        let is_file = parser.seeds.iter().any(|seed| seed.len() > 2_000);
        let cases = cases.unwrap_or(if is_file { 500 } else { 10_000 });
        let mut runner =
            TestRunner::new(Config { cases, failure_persistence: None, ..Config::default() });
        let strategy = (any::<Index>(), vec(bend(), 0..12));
        let outcome = runner.run(&strategy, |(seed, bends)| {
            (parser.read)(&bent(parser.seeds[seed.index(parser.seeds.len())], &bends));
            Ok(())
        });
        assert!(outcome.is_ok(), "{}: {outcome:?}", parser.name);
        report(&format!("{}: {cases} payloads", parser.name));
    }
}

#[expect(clippy::print_stdout, reason = "figures are for people")]
fn report(text: &str) {
    println!("{text}");
}

// Failure case 26: depth of 100,000, a text of 1 MiB, and bytes that are no text.
#[test]
fn no_reader_falls_over_depth_and_length() {
    let deep = |open: &str, close: &str| open.repeat(100_000) + &close.repeat(100_000);
    let documents = [
        deep("[", "]").into_bytes(),
        deep("{\"a\":", "}").into_bytes(),
        "[".repeat(100_000).into_bytes(),
        format!("{{\"id\":\"{}\"}}", "x".repeat(1 << 20)).into_bytes(),
        "9".repeat(1 << 20).into_bytes(),
        vec![0xff; 1 << 20],
        vec![0; 1 << 20],
        "a.".repeat(100_000).into_bytes(),
        format!("a = {}", deep("[", "]")).into_bytes(),
        "start;price [EUR/MWh]\n".repeat(10_000).into_bytes(),
    ];
    for parser in &PARSERS {
        for document in &documents {
            (parser.read)(document);
        }
    }
}
