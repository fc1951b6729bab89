//! The form of a site file as data. The reader and the JSON Schema both work
//! from it, so neither can know a key that the other does not.

/// A table of the file.
pub(super) struct Shape {
    /// What the table describes.
    pub(super) about: &'static str,
    /// Its keys.
    pub(super) keys: &'static [Key],
}

/// A key of a table.
pub(super) struct Key {
    /// The key with its unit as suffix.
    pub(super) name: &'static str,
    /// One line for readers and editors.
    pub(super) about: &'static str,
    /// What stands after the equals sign.
    pub(super) kind: Kind,
    /// Whether it may be left out.
    pub(super) need: Need,
}

/// Whether a key may be left out.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Need {
    /// It must be given.
    Required,
    /// Left out, it means nothing.
    Optional,
    /// Left out, the usual value of its kind is assumed.
    Assumed,
}

/// What stands after the equals sign. Each kind carries a usual value, which is
/// assumed where the key may be left out, shown as an example otherwise, and
/// lets checking go on after a faulty value.
pub(super) enum Kind {
    /// A finite number in a closed range.
    Number { min: f64, max: f64, usual: f64 },
    /// A whole number in a closed range.
    Whole { min: u32, max: u32, usual: u32 },
    /// Numbers, each in a closed range.
    Numbers { min: f64, max: f64, usual: &'static [f64] },
    /// Text that is not empty.
    Text(&'static str),
    /// A list of texts that are not empty.
    Texts(&'static [&'static str]),
    /// One of these words, the first is usual.
    Choice(&'static [&'static str]),
    /// `true` or `false`.
    Flag(bool),
    /// A local time of day.
    Time(&'static str),
    /// Days of the week.
    Days,
    /// An instant with an offset.
    Instant(&'static str),
    /// A table.
    Table(&'static Shape),
    /// Any number of tables.
    Tables(&'static Shape),
}

impl Shape {
    /// The key of a name.
    pub(super) fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|key| key.name == name)
    }
}

/// A key that must be given.
pub(super) const fn required(name: &'static str, kind: Kind, about: &'static str) -> Key {
    Key { name, about, kind, need: Need::Required }
}

/// A key that means nothing when left out.
pub(super) const fn optional(name: &'static str, kind: Kind, about: &'static str) -> Key {
    Key { name, about, kind, need: Need::Optional }
}

/// A key whose usual value is assumed when it is left out.
pub(super) const fn assumed(name: &'static str, kind: Kind, about: &'static str) -> Key {
    Key { name, about, kind, need: Need::Assumed }
}

/// A number from `min` to `max`.
pub(super) const fn number(min: f64, max: f64, usual: f64) -> Kind {
    Kind::Number { min, max, usual }
}
