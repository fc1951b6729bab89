//! A sign of life.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// When something last moved; its copies are one.
#[derive(Debug, Clone)]
pub struct Pulse(Arc<Mutex<Instant>>);

impl Default for Pulse {
    /// It counts from now.
    fn default() -> Self {
        Self(Arc::new(Mutex::new(Instant::now())))
    }
}

impl Pulse {
    /// It moves.
    pub fn beat(&self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Instant::now();
    }

    /// How long it has not moved.
    pub fn age(&self) -> Duration {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).elapsed()
    }
}
