//! The buffer vessel or low-loss header between sources and heating circuits.

use super::{Sink, SiteFault, fault};
use crate::units::{HeatLoss, Power, Temperature, Volume};

/// A vessel of heating water, taken as mixed: it evens out runs of minutes,
/// it does not store hours. A low-loss header is one with a few litres.
#[derive(Debug, Clone, PartialEq)]
pub struct Buffer {
    /// Water content, with the pipes that are always open to it.
    pub volume: Volume,
    /// Standing loss.
    pub heat_loss: HeatLoss,
    /// Temperature around it.
    pub surroundings: Temperature,
    /// No source heats it beyond this.
    pub ceiling: Temperature,
    /// Power of an immersion element in it, if it has one.
    pub immersion: Option<Power>,
    /// Circuits that take from it: [`Sink::Rooms`] through a mixing valve at
    /// the heating curve's temperature, [`Sink::Pool`] unmixed.
    pub feeds: Vec<Sink>,
}

/// Every contradiction in a buffer.
pub(super) fn faults(buffer: &Buffer, faults: &mut Vec<SiteFault>) {
    let mut add = |field, rule: &str| faults.push(fault("buffer", field, rule));
    if buffer.volume.litres() < 1.0 {
        add("volume", "it holds no water; give its content, a low-loss header has 5 to 20 L");
    }
    if buffer.feeds.is_empty() {
        add("feeds", "no circuit takes from it; name the rooms or the pool");
    }
    if buffer.feeds.iter().any(|sink| !matches!(sink, Sink::Rooms | Sink::Pool)) {
        add("feeds", "it feeds heating circuits only: the rooms and the pool");
    }
    if buffer.ceiling.celsius() > 95.0 {
        add("ceiling", "heating water is not planned hotter than 95 °C; lower the ceiling");
    }
}
