//! Series that say how much of a layer is where after a flow or after conduction.

/// Most weights of a Poisson series.
pub(super) const MAX_WEIGHTS: usize = 24;

/// Most neighbours on one side that conduction reaches in one go.
pub(super) const MAX_REACH: usize = 16;

/// Poisson weights below this carry no heat worth counting.
const LEAST_WEIGHT: f64 = 1e-15;

/// Shares of conduction below this carry none.
const LEAST_SHARE: f64 = 1e-11;

/// 1/j, which spares the divisions of a Poisson series.
const INVERSE: [f64; MAX_WEIGHTS] = {
    let mut inverse = [0.0; MAX_WEIGHTS];
    let mut j = 1;
    while j < MAX_WEIGHTS {
        inverse[j] = 1.0 / j as f64;
        j += 1;
    }
    inverse
};

/// How the heat of a layer is shared after it has exchanged some of itself with each
/// neighbour and has cooled, all exactly:
/// `T_i ← T_a + kept·Σ_j e^{−2a}·I_j(2a)·(T_{i±j} − T_a)` with mirrors at both ends.
#[derive(Debug, Clone)]
pub(in crate::plant) struct Shares {
    /// What each layer takes of those above and below it by distance, the first halved.
    pub(super) by_distance: [f64; MAX_REACH],
    pub(super) count: usize,
    /// Of the excess over the surroundings.
    pub(super) lost: f64,
}

impl Shares {
    pub(in crate::plant) fn new(exchanged: f64, kept: f64) -> Self {
        let mut by_distance = [0.0; MAX_REACH];
        let count = bessel(exchanged, &mut by_distance);
        for share in &mut by_distance[..count] {
            *share *= kept;
        }
        Self { by_distance, count, lost: 1.0 - kept }
    }
}

/// Fills in `e^{−2a}·I_j(2a)`, the first of them halved, and returns how many matter:
/// the share of a layer's heat that is so many layers away after it has exchanged `a`
/// with each neighbour. By Miller's downward recurrence, which needs no series
/// (Abramowitz and Stegun, 9.12), with the sum of all shares as its norm.
fn bessel(a: f64, shares: &mut [f64; MAX_REACH]) -> usize {
    let mut reach = 0;
    let mut size = 1.0;
    while size > LEAST_SHARE && reach + 1 < MAX_REACH {
        reach += 1;
        size *= a * INVERSE[reach];
    }
    let (mut above, mut here, mut sum) = (0.0, 1.0, 0.0);
    let inverse = 1.0 / a;
    for j in (1..=reach).rev() {
        shares[j] = here;
        sum += here;
        (above, here) = (here, above + j as f64 * inverse * here);
    }
    if reach == 0 || !inverse.is_finite() {
        shares[0] = 0.5;
        return 1;
    }
    let norm = 1.0 / (here + 2.0 * sum);
    for share in &mut shares[1..=reach] {
        *share *= norm;
    }
    // As it counts for the layers above and below, so to speak.
    shares[0] = 0.5 * here * norm;
    reach + 1
}

/// Fills in `e^{−a}·a^j/j!` and returns how many weights matter.
pub(super) fn poisson(a: f64, weights: &mut [f64; MAX_WEIGHTS]) -> usize {
    let mut weight = (-a).exp();
    weights[0] = weight;
    for j in 1..MAX_WEIGHTS {
        weight *= a * INVERSE[j];
        if weight < LEAST_WEIGHT {
            return j;
        }
        weights[j] = weight;
    }
    MAX_WEIGHTS
}
