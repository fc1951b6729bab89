//! Heat content of water and losses of a store.

/// Heat to warm one litre by one kelvin [kWh/(L·K)]: 1.163 Wh, which is
/// 4186.8 J/(kg·K) at 1 kg/L.
pub const KWH_PER_LITRE_KELVIN: f64 = 1.163e-3;

/// Heat in a volume of water above a reference [kWh]: `E = V·c·ΔT`.
pub fn heat_kwh(litres: f64, kelvin: f64) -> f64 {
    litres * kelvin * KWH_PER_LITRE_KELVIN
}

/// Litres of mixed water at `mixed` that one litre at `hot` gives with mains
/// water at `cold`, all in °C: `(hot − cold) / (mixed − cold)`.
pub fn mixed_litres_per_litre(hot: f64, mixed: f64, cold: f64) -> f64 {
    (hot - cold) / (mixed - cold)
}

/// Share of hot water in a mixed flow: `(mixed − cold) / (hot − cold)`.
pub fn hot_share(hot: f64, mixed: f64, cold: f64) -> f64 {
    (mixed - cold) / (hot - cold)
}

/// Loss coefficient from a declared standing loss [W/K]:
/// `UA = Q·1000 / (24·ΔT)`, with `Q` in kWh per 24 h at a difference `ΔT` [K]
/// (EN 12897 tests at 45 K).
pub fn loss_from_daily(kwh_per_24h: f64, kelvin: f64) -> f64 {
    kwh_per_24h * 1_000.0 / (24.0 * kelvin)
}

/// Time constant of a fully mixed store [h]: `τ = C / UA`.
pub fn time_constant_hours(litres: f64, watts_per_kelvin: f64) -> f64 {
    litres * KWH_PER_LITRE_KELVIN * 1_000.0 / watts_per_kelvin
}

/// Temperature of a fully mixed store after a time [°C], heated with constant
/// power: `T = T∞ + (T₀ − T∞)·exp(−t/τ)`, `T∞ = T_a + P/UA`.
pub fn mixed_store_after(
    start: f64,
    surroundings: f64,
    litres: f64,
    watts_per_kelvin: f64,
    kw: f64,
    hours: f64,
) -> f64 {
    let capacity = litres * KWH_PER_LITRE_KELVIN;
    if watts_per_kelvin <= 0.0 {
        return start + kw * hours / capacity;
    }
    let settled = surroundings + kw * 1_000.0 / watts_per_kelvin;
    settled + (start - settled) * (-hours / time_constant_hours(litres, watts_per_kelvin)).exp()
}

/// Hours to heat a fully mixed store with constant power:
/// `t = τ·ln((T∞−T₀)/(T∞−T₁))`, or `C·ΔT/P` without loss. `None` if the loss
/// stops it short of the target.
pub fn heat_up_hours(
    start: f64,
    target: f64,
    surroundings: f64,
    litres: f64,
    watts_per_kelvin: f64,
    kw: f64,
) -> Option<f64> {
    let capacity = litres * KWH_PER_LITRE_KELVIN;
    if watts_per_kelvin <= 0.0 {
        return (kw > 0.0).then(|| capacity * (target - start) / kw);
    }
    let settled = surroundings + kw * 1_000.0 / watts_per_kelvin;
    (settled > target).then(|| {
        time_constant_hours(litres, watts_per_kelvin)
            * ((settled - start) / (settled - target)).ln()
    })
}
