//! Expansion vessels: the room that water needs when it grows warm.

use super::volume::expansion;

/// Pressure of the air around [bar].
const ATMOSPHERE_BAR: f64 = 1.013;

/// Share of a relief valve's setting that the system reaches at the most:
/// 90 %, so that the valve never weeps (common practice, no published source).
pub const RELIEF_MARGIN: f64 = 0.9;

/// Cold pressure behind the reducing valve of an unvented cylinder and setting
/// of its expansion valve, both above atmosphere [bar] (common practice, no
/// published source).
pub const CYLINDER_BAR: (f64, f64) = (3.0, 6.0);

/// Cold pressure of a sealed heating circuit and setting of its relief valve,
/// both above atmosphere [bar] (common practice, no published source).
pub const CIRCUIT_BAR: (f64, f64) = (1.0, 3.0);

/// Smallest vessel for a water content [L]: `e·V / (1 − p_1/p_2)` with absolute
/// pressures, the gas filling the whole vessel at the cold pressure. Boyle's law,
/// the form of BS 7074-1 (from memory). `None` where the pressures leave no room.
pub fn vessel_litres(litres: f64, cold: f64, hot: f64, bar: (f64, f64)) -> Option<f64> {
    let filled = bar.0 + ATMOSPHERE_BAR;
    let highest = bar.1 * RELIEF_MARGIN + ATMOSPHERE_BAR;
    let share = 1.0 - filled / highest;
    (share > 0.0).then(|| litres * expansion(cold, hot).max(0.0) / share)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Boyle's law read backwards: the gas that filled the vessel at the cold
    // pressure, pressed together by the water that grew, is at the hot pressure.
    #[test]
    fn the_gas_is_at_the_highest_pressure_when_the_water_has_grown() {
        let vessel = vessel_litres(250.0, 10.0, 65.0, CYLINDER_BAR).expect("there is room");
        let grown = 250.0 * expansion(10.0, 65.0);
        let pressure = (3.0 + ATMOSPHERE_BAR) * vessel / (vessel - grown);
        assert!((pressure - (5.4 + ATMOSPHERE_BAR)).abs() < 1e-9, "{pressure}");
    }

    // HW-05: water grows by 1.68 % from 10 to 60 °C (CoolProp, IAPWS-95); the rest
    // is Boyle's law by hand: 210 · 0.0168 / (1 − 4.013/6.413).
    #[test]
    fn a_cylinder_of_210_litres() {
        let vessel = vessel_litres(210.0, 10.0, 60.0, CYLINDER_BAR).expect("there is room");
        assert!((vessel - 9.43).abs() < 0.12, "{vessel}");
    }

    #[test]
    fn pressures_that_leave_no_room_have_no_vessel() {
        assert_eq!(vessel_litres(210.0, 10.0, 60.0, (3.0, 3.0)), None);
    }
}
