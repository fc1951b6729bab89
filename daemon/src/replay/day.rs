//! One day, slot by slot.
