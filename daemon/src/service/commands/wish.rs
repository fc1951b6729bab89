//! Something that is asked for until its end.

use optimiser::time::Instant;
use optimiser::units::Temperature;

use super::plant::Feeder;

/// Something that is asked for, until its end.
#[derive(Debug, Clone, PartialEq)]
pub struct Wish {
    /// The command it came with.
    pub id: String,
    /// From then.
    pub from: Instant,
    /// Until then.
    pub until: Instant,
    /// What.
    pub kind: WishKind,
}

/// Kinds of wish.
#[derive(Debug, Clone, PartialEq)]
pub enum WishKind {
    /// Heat now.
    Boost {
        /// Index of the store.
        store: usize,
        /// Index of the heater; all of the store if `None`.
        heater: Option<usize>,
        /// It ends when the hottest water is this hot.
        until_c: Option<f64>,
    },
    /// Do not heat; with neither store nor heater, nothing at all.
    Off {
        /// Index of the store; all if `None`.
        store: Option<usize>,
        /// Index of the heater; all of the store if `None`.
        heater: Option<usize>,
    },
    /// Nobody is at home.
    Away,
    /// More people than usual.
    Guests(u8),
    /// Another temperature to aim at.
    Target {
        /// Index of the store.
        store: usize,
        /// The temperature.
        temperature: Temperature,
    },
    /// A source or a circuit that does not run.
    FeederOff(Feeder),
    /// Another lowest temperature of the rooms.
    Rooms(Temperature),
    /// Water ready by the end of the wish.
    ReadyBy {
        /// Index of the store.
        store: usize,
        /// Litres at the tap.
        litres: f64,
        /// Temperature at the tap.
        temperature: Temperature,
    },
}

/// Whether a new wish leaves nothing of an old one.
pub(super) fn takes_the_place(new: &WishKind, old: &WishKind) -> bool {
    use WishKind::{Away, Boost, FeederOff, Guests, Off, ReadyBy, Rooms, Target};
    let covers = |new: Option<usize>, old: Option<usize>| new.is_none() || new == old;
    match (new, old) {
        (Boost { store: a, heater: h, .. }, Boost { store: b, heater: i, .. }) => {
            a == b && covers(*h, *i)
        }
        (Boost { store: a, heater: h, .. }, Off { store: b, heater: i }) => {
            Some(*a) == *b && covers(*h, *i)
        }
        (Off { store: a, heater: h }, Boost { store: b, heater: i, .. }) => {
            covers(*a, Some(*b)) && covers(*h, *i)
        }
        (Off { store: a, heater: h }, Off { store: b, heater: i }) => {
            covers(*a, *b) && covers(*h, *i)
        }
        (Off { store, .. }, FeederOff(_)) => store.is_none(),
        (FeederOff(a), FeederOff(b)) => a == b,
        (Away, Away) | (Guests(_), Guests(_)) | (Rooms(_), Rooms(_)) => true,
        (Target { store: a, .. }, Target { store: b, .. })
        | (ReadyBy { store: a, .. }, ReadyBy { store: b, .. }) => a == b,
        _ => false,
    }
}
