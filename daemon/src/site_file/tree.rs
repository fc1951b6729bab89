//! The document as a tree of checked values that know where they stand.
//!
//! Reading never stops at a fault: it is recorded, the usual value of the key
//! takes its place, and the key counts as blamed so that no later check
//! complains about the same thing again. A misspelt key that is close to a
//! known one is read as that key.

use std::collections::BTreeMap;
use std::ops::Range;

use chrono::{NaiveTime, Weekday};
use optimiser::time::Instant;
use optimiser::units::UnitError;
use toml::de::{DeTable, DeValue};

use super::fault::{Faults, nearest};
use super::scalar;
use super::shape::{Key, Kind, Need, Shape};

/// A value with the place it stands at; no datum if it was faulty.
pub(super) struct Entry {
    pub(super) span: Range<usize>,
    pub(super) datum: Option<Datum>,
}

/// A value of the right kind and range.
pub(super) enum Datum {
    Number(f64),
    Numbers(Vec<f64>),
    Text(String),
    Texts(Vec<String>),
    Flag(bool),
    Time(NaiveTime),
    Days(Vec<Weekday>),
    Instant(Instant),
    Table(Node),
    Tables(Vec<Node>),
}

/// A table of the file.
pub(super) struct Node {
    shape: &'static Shape,
    /// Path of the table, such as `store[0]`.
    pub(super) path: String,
    /// Where the table begins.
    pub(super) span: Range<usize>,
    entries: BTreeMap<&'static str, Entry>,
    missing: Vec<&'static str>,
}

/// Reads a document; `None` after a syntax error, since what follows one
/// cannot be trusted.
pub(super) fn parse(text: &str, shape: &'static Shape, faults: &mut Faults) -> Option<Node> {
    let (root, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        faults.error(
            error.span().unwrap_or(0..0),
            "",
            format!("this is not TOML: {}", error.message()),
            Some(
                "write `key = value`, tables as `[name]`, text in double quotes, each key once"
                    .to_owned(),
            ),
        );
    }
    errors.is_empty().then(|| inspect(shape, root.get_ref(), 0..0, String::new(), faults))
}

fn inspect(
    shape: &'static Shape,
    table: &DeTable,
    span: Range<usize>,
    path: String,
    faults: &mut Faults,
) -> Node {
    let mut node = Node { shape, path, span, entries: BTreeMap::new(), missing: Vec::new() };
    let mut pairs: Vec<_> = table.iter().collect();
    pairs.sort_by_key(|(key, _)| key.span().start);
    for (name, value) in pairs {
        let key = shape.key(name.get_ref()).or_else(|| {
            let free = shape.keys.iter().map(|key| key.name);
            let free = free.filter(|known| !table.contains_key(*known));
            let meant = nearest(name.get_ref(), free);
            let suggestion = match meant {
                Some(meant) => format!("did you mean `{meant}`?"),
                None => format!("known here: {}", shape_names(shape)),
            };
            let message = format!("unknown key `{}`", name.get_ref());
            faults.error(name.span(), &node.path, message, Some(suggestion));
            meant.and_then(|meant| shape.key(meant))
        });
        if let Some(key) = key {
            let path = node.path_of(key.name);
            let datum = read(key, value.get_ref(), value.span(), &path, faults);
            node.entries.entry(key.name).or_insert(Entry { span: value.span(), datum });
        }
    }
    for key in shape.keys.iter().filter(|key| key.need == Need::Required) {
        if !node.has(key.name) {
            node.missing.push(key.name);
            faults.error(
                node.span.clone(),
                &node.path,
                format!("`{}` is missing: {}", key.name, key.about),
                Some(format!("add {}", scalar::sample(key))),
            );
        }
    }
    node.fill_tables();
    node
}

fn quoted(keys: &[&str]) -> String {
    keys.iter().map(|key| format!("`{key}`")).collect::<Vec<_>>().join(", ")
}

fn shape_names(shape: &Shape) -> String {
    shape.keys.iter().map(|key| key.name).collect::<Vec<_>>().join(", ")
}

fn read(
    key: &'static Key,
    value: &DeValue,
    span: Range<usize>,
    path: &str,
    faults: &mut Faults,
) -> Option<Datum> {
    match (&key.kind, value) {
        (Kind::Table(shape), DeValue::Table(table)) => {
            Some(Datum::Table(inspect(shape, table, span, path.to_owned(), faults)))
        }
        (Kind::Tables(shape), DeValue::Array(items)) => {
            let mut nodes = Vec::new();
            for (index, item) in items.iter().enumerate() {
                let path = format!("{path}[{index}]");
                if let DeValue::Table(table) = item.get_ref() {
                    nodes.push(inspect(shape, table, item.span(), path, faults));
                } else {
                    let message = format!("{path} is a {}, not a table", item.get_ref().type_str());
                    faults.error(
                        item.span(),
                        &path,
                        message,
                        Some(format!("write it as {}", scalar::sample(key))),
                    );
                }
            }
            (nodes.len() == items.len()).then_some(Datum::Tables(nodes))
        }
        _ => match scalar::read(key, value) {
            Ok(datum) => Some(datum),
            Err((message, suggestion)) => {
                faults.error(span, path, message, suggestion);
                None
            }
        },
    }
}

impl Node {
    /// Path of a key in this table.
    pub(super) fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    /// Where the value of a key stands, or the table if it has none.
    pub(super) fn span_of(&self, key: &str) -> Range<usize> {
        self.entries.get(key).map_or(self.span.clone(), |entry| entry.span.clone())
    }

    /// Whether a key is given, be it right or wrong.
    pub(super) fn has(&self, key: &str) -> bool {
        self.entries.contains_key(key)
    }

    /// Whether a key was already reported as missing or faulty.
    pub(super) fn blamed(&self, key: &str) -> bool {
        self.missing.contains(&key)
            || self.entries.get(key).is_some_and(|entry| entry.datum.is_none())
    }

    /// The key whose name begins with a word.
    pub(super) fn key_like(&self, word: &str) -> Option<&'static str> {
        self.shape.keys.iter().map(|key| key.name).find(|name| name.starts_with(word))
    }

    /// The number of a key, or its usual value.
    pub(super) fn number(&self, key: &str) -> f64 {
        self.maybe_number(key).unwrap_or_else(|| match self.kind(key) {
            Kind::Number { usual, .. } => *usual,
            Kind::Whole { usual, .. } => f64::from(*usual),
            _ => unreachable!("`{key}` is a number in the key tables"),
        })
    }

    /// The number of a key, if it is given and right.
    pub(super) fn maybe_number(&self, key: &str) -> Option<f64> {
        match self.datum(key) {
            Some(Datum::Number(value)) => Some(*value),
            _ => None,
        }
    }

    /// The quantity of a key, or of its usual value.
    pub(super) fn quantity<T>(&self, key: &str, new: fn(f64) -> Result<T, UnitError>) -> T {
        new(self.number(key)).expect("the range of a key lies within its unit")
    }

    /// The quantity of a key, if it is given and right.
    pub(super) fn maybe_quantity<T>(
        &self,
        key: &str,
        new: fn(f64) -> Result<T, UnitError>,
    ) -> Option<T> {
        self.maybe_number(key)
            .map(|value| new(value).expect("the range of a key lies within its unit"))
    }

    /// The numbers of a key, if they are given and right.
    pub(super) fn numbers(&self, key: &str) -> Option<&[f64]> {
        match self.datum(key) {
            Some(Datum::Numbers(values)) => Some(values),
            _ => None,
        }
    }

    /// The text of a key, or its usual value.
    pub(super) fn text(&self, key: &str) -> &str {
        self.maybe_text(key).unwrap_or_else(|| match self.kind(key) {
            Kind::Text(usual) => usual,
            Kind::Choice(words) => words[0],
            _ => unreachable!("`{key}` is text in the key tables"),
        })
    }

    /// The text of a key, if it is given and right.
    pub(super) fn maybe_text(&self, key: &str) -> Option<&str> {
        match self.datum(key) {
            Some(Datum::Text(text)) => Some(text),
            _ => None,
        }
    }

    /// The texts of a key; none if it is left out.
    pub(super) fn texts(&self, key: &str) -> &[String] {
        match self.datum(key) {
            Some(Datum::Texts(texts)) => texts,
            _ => &[],
        }
    }

    /// The flag of a key, or its usual value.
    pub(super) fn flag(&self, key: &str) -> bool {
        match (self.datum(key), self.kind(key)) {
            (Some(Datum::Flag(flag)), _) | (_, Kind::Flag(flag)) => *flag,
            _ => unreachable!("`{key}` is a flag in the key tables"),
        }
    }

    /// The local time of a key, if it is given and right.
    pub(super) fn time(&self, key: &str) -> Option<NaiveTime> {
        match self.datum(key) {
            Some(Datum::Time(time)) => Some(*time),
            _ => None,
        }
    }

    /// The days of a key, or all seven.
    pub(super) fn days(&self, key: &str) -> Vec<Weekday> {
        match self.datum(key) {
            Some(Datum::Days(days)) => days.clone(),
            _ => scalar::WEEK.to_vec(),
        }
    }

    /// The instant of a key, if it is given and right.
    pub(super) fn instant(&self, key: &str) -> Option<Instant> {
        match self.datum(key) {
            Some(Datum::Instant(instant)) => Some(*instant),
            _ => None,
        }
    }

    /// The table of a key, if it is given.
    pub(super) fn table(&self, key: &str) -> Option<&Node> {
        match self.datum(key) {
            Some(Datum::Table(node)) => Some(node),
            _ => None,
        }
    }

    /// The tables of a key; none if it is left out.
    pub(super) fn tables(&self, key: &str) -> &[Node] {
        match self.datum(key) {
            Some(Datum::Tables(nodes)) => nodes,
            _ => &[],
        }
    }

    /// The table of a key that must be given or is assumed; where it is not
    /// there, one without keys stands in.
    pub(super) fn part(&self, key: &str) -> &Node {
        self.table(key).expect("tables that are not optional are always filled in")
    }

    /// Which one of several keys is given; a fault unless it is exactly one.
    pub(super) fn only_one(
        &self,
        keys: &[&'static str],
        faults: &mut Faults,
    ) -> Option<&'static str> {
        let given: Vec<&str> = keys.iter().copied().filter(|key| self.has(key)).collect();
        let blamed = keys.iter().any(|key| self.blamed(key)) || self.stands_in();
        match given.as_slice() {
            [_] if !blamed => return keys.iter().copied().find(|key| self.has(key)),
            [] | [_] if blamed => {}
            [] => faults.error(
                self.span.clone(),
                &self.path,
                format!("none of {} is given", quoted(keys)),
                Some("give one of them".to_owned()),
            ),
            [first, .., last] => faults.error(
                self.span_of(last),
                &self.path_of(last),
                format!("{} are given together", quoted(&given)),
                Some(format!(
                    "they are different ways to say one thing: keep `{first}` or `{last}`"
                )),
            ),
            [_] => {}
        }
        None
    }

    /// Which one of several keys is given, if any; a fault if it is more than one.
    pub(super) fn only_one_or_none(
        &self,
        keys: &[&'static str],
        faults: &mut Faults,
    ) -> Option<&'static str> {
        keys.iter().any(|key| self.has(key)).then(|| self.only_one(keys, faults)).flatten()
    }

    /// Reports each of these keys that is given although it means nothing here.
    pub(super) fn stray(&self, keys: &[&str], why: &str, faults: &mut Faults) {
        for key in keys.iter().filter(|key| self.has(key)) {
            let message = format!("`{key}` has no meaning here: {why}");
            let hint = Some("remove the line".to_owned());
            faults.error(self.span_of(key), &self.path_of(key), message, hint);
        }
    }

    /// Whether the table is not in the file and only stands in for it.
    fn stands_in(&self) -> bool {
        self.entries.values().all(|entry| entry.span.is_empty()) && !self.missing.is_empty()
    }

    /// Puts a stand-in for each table that is not optional and not there. All
    /// its keys count as blamed, since the missing table was.
    fn fill_tables(&mut self) {
        for key in self.shape.keys.iter().filter(|key| key.need != Need::Optional) {
            let Kind::Table(shape) = key.kind else { continue };
            if self.table(key.name).is_none() {
                let mut part = Node {
                    shape,
                    path: self.path_of(key.name),
                    span: self.span.clone(),
                    entries: BTreeMap::new(),
                    missing: shape.keys.iter().map(|key| key.name).collect(),
                };
                part.fill_tables();
                let entry = Entry { span: 0..0, datum: Some(Datum::Table(part)) };
                self.entries.insert(key.name, entry);
            }
        }
    }

    fn datum(&self, key: &str) -> Option<&Datum> {
        self.entries.get(key).and_then(|entry| entry.datum.as_ref())
    }

    fn kind(&self, key: &str) -> &'static Kind {
        &self.shape.key(key).expect("the reader asks for keys of the table only").kind
    }
}
