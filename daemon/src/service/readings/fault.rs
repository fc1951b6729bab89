//! What can be wrong with a reading.

use std::fmt;

/// Kinds of fault, each counted and shown by its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// The payload is not text.
    NotUtf8,
    /// JSON was expected.
    NotJson,
    /// A number was expected.
    NotANumber,
    /// NaN or infinity.
    NotFinite,
    /// The device says that it has no value, or the value is not there.
    Unavailable,
    /// A number that devices send in place of a value.
    Sentinel,
    /// Outside what can be.
    OutOfRange,
    /// About a thousand times the last value: a unit was changed.
    ThousandFold,
    /// Rose or fell faster than can be.
    TooSteep,
    /// The same number while it must change.
    Frozen,
    /// A counter went back.
    CounterReset,
    /// The device's clock is wrong.
    SkewedClock,
    /// Measured too long ago.
    TooOld,
    /// Not newer than what is known.
    OutOfOrder,
    /// Kept by the broker, and nothing says since when.
    RetainedOfUnknownAge,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 15] = [
        Self::NotUtf8,
        Self::NotJson,
        Self::NotANumber,
        Self::NotFinite,
        Self::Unavailable,
        Self::Sentinel,
        Self::OutOfRange,
        Self::ThousandFold,
        Self::TooSteep,
        Self::Frozen,
        Self::CounterReset,
        Self::SkewedClock,
        Self::TooOld,
        Self::OutOfOrder,
        Self::RetainedOfUnknownAge,
    ];

    /// The name on the wire and in metrics.
    pub const fn name(self) -> &'static str {
        match self {
            Self::NotUtf8 => "not-utf8",
            Self::NotJson => "not-json",
            Self::NotANumber => "not-a-number",
            Self::NotFinite => "not-finite",
            Self::Unavailable => "unavailable",
            Self::Sentinel => "sentinel",
            Self::OutOfRange => "out-of-range",
            Self::ThousandFold => "thousand-fold",
            Self::TooSteep => "too-steep",
            Self::Frozen => "frozen",
            Self::CounterReset => "counter-reset",
            Self::SkewedClock => "skewed-clock",
            Self::TooOld => "too-old",
            Self::OutOfOrder => "out-of-order",
            Self::RetainedOfUnknownAge => "retained-of-unknown-age",
        }
    }

    /// What would mend it.
    pub const fn remedy(self) -> &'static str {
        match self {
            Self::NotUtf8 | Self::NotJson | Self::NotANumber => {
                "check the topic and the pointer of this input"
            }
            Self::NotFinite | Self::Unavailable | Self::Sentinel => {
                "check the probe and its wiring"
            }
            Self::OutOfRange | Self::ThousandFold => {
                "check the unit of this input; devices change it with an update"
            }
            Self::TooSteep => "if it is true, it is believed once more readings agree",
            Self::Frozen => "check that the probe is in its pocket and its device alive",
            Self::CounterReset => "if the meter was changed, it is believed once it counts on",
            Self::SkewedClock => "set the clock of the device; its time of arrival is used",
            Self::TooOld | Self::OutOfOrder => "check the network between device and broker",
            Self::RetainedOfUnknownAge => {
                "send it without retain, or with a time that this input points to"
            }
        }
    }
}

/// Something wrong with a reading, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadingFault {
    /// Its kind.
    pub kind: Kind,
    /// What was seen.
    pub seen: String,
}

impl ReadingFault {
    pub(super) fn new(kind: Kind, seen: impl Into<String>) -> Self {
        Self { kind, seen: seen.into() }
    }
}

impl fmt::Display for ReadingFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.seen, self.kind.remedy())
    }
}

impl std::error::Error for ReadingFault {}
