//! From intervals of one length to slots of another.

use optimiser::time::Slot;

/// Mean over a slot, each interval weighted by the time it shares with the slot;
/// `None` unless the intervals with a value cover the slot wholly.
pub(super) fn mean(
    pieces: impl IntoIterator<Item = (Slot, Option<f64>)>,
    slot: Slot,
) -> Option<f64> {
    gather(pieces, slot, |shared, _| shared / slot.seconds() as f64)
}

/// Amount in a slot, of each interval the share of its time in the slot; `None`
/// unless the intervals with a value cover the slot wholly.
pub(super) fn amount(
    pieces: impl IntoIterator<Item = (Slot, Option<f64>)>,
    slot: Slot,
) -> Option<f64> {
    gather(pieces, slot, |shared, piece| shared / piece.seconds() as f64)
}

/// Sum of the values times their weight, which comes from the seconds shared
/// with the slot and the interval.
fn gather(
    pieces: impl IntoIterator<Item = (Slot, Option<f64>)>,
    slot: Slot,
    weight: impl Fn(f64, Slot) -> f64,
) -> Option<f64> {
    let mut covered = 0;
    let mut sum = 0.0;
    for (piece, value) in pieces {
        let shared = piece.overlap_seconds(slot);
        if shared > 0 {
            covered += shared;
            sum += value? * weight(shared as f64, piece);
        }
    }
    (covered == slot.seconds()).then_some(sum)
}
