//! The rooms as a network of five resistances and one capacity: the simple
//! hourly method of ISO 13790:2008, annex C (equations from memory). Air,
//! surfaces and mass have temperatures of their own, so a set-back cools the air
//! of a heavy house soon and its walls late.

use crate::site::Rooms;

/// Surface inside for each floor area.
const SURFACE_PER_FLOOR: f64 = 4.5;

/// Heat transfer between air and surfaces [W/(m²·K)].
const AIR_TO_SURFACE: f64 = 3.45;

/// Heat transfer between surfaces and mass [W/(m²·K)].
const SURFACE_TO_MASS: f64 = 9.1;

/// Area of the mass for each floor area, by its capacity [kJ/(m²·K)]: the
/// classes of ISO 13790 table 12 (seen in two open implementations).
const MASS_AREA: [(f64, f64); 4] = [(0.0, 2.5), (165.0, 2.5), (260.0, 3.0), (370.0, 3.5)];

/// Conductances of the network [W/K] and the capacity [Wh/K].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Network {
    air_to_surface: f64,
    surface_to_mass: f64,
    windows: f64,
    ventilation: f64,
    /// From the mass to the outside.
    walls: f64,
    capacity: f64,
    /// Share of diffuse gains that the mass takes.
    to_mass: f64,
    /// Share of them that leaves through the windows at once.
    to_windows: f64,
}

/// What a step of the rooms gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomStep {
    /// Mass at the end [°C].
    pub mass: f64,
    /// Air, in the mean of the step [°C].
    pub air: f64,
    /// Surfaces, in the mean of the step [°C].
    pub surface: f64,
    /// Heat lost to the outside in the mean of the step [W].
    pub lost_w: f64,
}

impl Network {
    /// The network of rooms, with a heat-loss coefficient [W/K].
    pub fn of(rooms: &Rooms, heat_loss: f64) -> Self {
        let (windows, air) = (rooms.window_share.value(), rooms.ventilation_share.value());
        Self::new(
            rooms.floor_m2,
            rooms.capacity_kwh_per_k * 1_000.0,
            heat_loss * (1.0 - windows - air),
            heat_loss * windows,
            heat_loss * air,
        )
    }

    /// From floor area [m²], capacity [Wh/K], and the loss through walls,
    /// through windows and with the air [W/K].
    fn new(floor: f64, capacity: f64, opaque: f64, windows: f64, ventilation: f64) -> Self {
        let surface = SURFACE_PER_FLOOR * floor;
        let mass = mass_area(capacity * 3.6 / floor) * floor;
        let surface_to_mass = SURFACE_TO_MASS * mass;
        // The film inside is a part of the wall's resistance.
        let walls = 1.0 / (1.0 / opaque - 1.0 / surface_to_mass);
        Self {
            air_to_surface: AIR_TO_SURFACE * surface,
            surface_to_mass,
            windows,
            ventilation,
            walls,
            capacity,
            to_mass: mass / surface,
            to_windows: windows / (SURFACE_TO_MASS * surface),
        }
    }

    /// A step of some hours from a temperature of the mass [°C], with heat and
    /// gains [W] and the outdoor temperature [°C] constant. Half of the gains and
    /// all of the heat go to the air.
    pub fn step(&self, mass: f64, hours: f64, outdoor: f64, heat: f64, gains: f64) -> RoomStep {
        let to_air = heat + 0.5 * gains;
        let (on_mass, on_surface) = self.diffuse(gains);
        // The air without storage: what it passes to the surfaces.
        let through_air =
            self.ventilation * self.air_to_surface / (self.ventilation + self.air_to_surface);
        let air_share = self.air_to_surface / (self.ventilation + self.air_to_surface);
        let from_air = air_share * (to_air + self.ventilation * outdoor);
        let outward = through_air + self.windows;
        let source = on_surface + self.windows * outdoor + from_air;
        let coupling = outward * self.surface_to_mass / (outward + self.surface_to_mass);
        let surface_share = self.surface_to_mass / (outward + self.surface_to_mass);
        let flow = on_mass + self.walls * outdoor + surface_share * source;
        let (inertia, drain) = (self.capacity / hours, 0.5 * (coupling + self.walls));
        let end = (mass * (inertia - drain) + flow) / (inertia + drain);
        let mean = 0.5 * (mass + end);
        let surface = (self.surface_to_mass * mean + source) / (self.surface_to_mass + outward);
        let air = (self.air_to_surface * surface + self.ventilation * outdoor + to_air)
            / (self.air_to_surface + self.ventilation);
        let lost_w = self.windows * (surface - outdoor)
            + self.ventilation * (air - outdoor)
            + self.walls * (mean - outdoor)
            + self.to_windows * 0.5 * gains;
        RoomStep { mass: end, air, surface, lost_w }
    }

    /// Heat [W] that brings the air to a temperature in the mean of a step.
    pub fn heat_for(&self, air: f64, mass: f64, hours: f64, outdoor: f64, gains: f64) -> f64 {
        // Everything is linear in the heat.
        const TRIAL_W: f64 = 1_000.0;
        let none = self.step(mass, hours, outdoor, 0.0, gains).air;
        let some = self.step(mass, hours, outdoor, TRIAL_W, gains).air;
        TRIAL_W * (air - none) / (some - none)
    }

    /// Temperature of the mass [°C] with the air held at one for long.
    pub fn settled_mass(&self, air: f64, outdoor: f64, gains: f64) -> f64 {
        let (on_mass, on_surface) = self.diffuse(gains);
        // Surfaces and mass without storage, by elimination of the surfaces.
        let outward = self.air_to_surface + self.windows + self.surface_to_mass;
        let source = self.air_to_surface * air + self.windows * outdoor + on_surface;
        let drain = self.walls + self.surface_to_mass
            - self.surface_to_mass * self.surface_to_mass / outward;
        (on_mass + self.walls * outdoor + self.surface_to_mass * source / outward) / drain
    }

    /// Diffuse gains on mass and on surfaces [W].
    fn diffuse(&self, gains: f64) -> (f64, f64) {
        let half = 0.5 * gains;
        (self.to_mass * half, (1.0 - self.to_mass - self.to_windows) * half)
    }

    /// Heat [kWh] of the mass between two temperatures.
    pub fn stored_kwh(&self, from: f64, to: f64) -> f64 {
        self.capacity * (to - from) / 1_000.0
    }
}

fn mass_area(kj_per_m2k: f64) -> f64 {
    let upper = MASS_AREA.windows(2).find(|pair| kj_per_m2k <= pair[1].0);
    upper.map_or(MASS_AREA[MASS_AREA.len() - 1].1, |pair| {
        let share = (kj_per_m2k - pair[0].0) / (pair[1].0 - pair[0].0);
        pair[0].1 + share * (pair[1].1 - pair[0].1)
    })
}

/// Heat-loss coefficient [W/K] that a cold day's meters say: heat that the
/// rooms took [kWh in 24 h] at a mean temperature difference [K].
pub fn measured_loss(kwh_per_day: f64, kelvin: f64) -> f64 {
    kwh_per_day * 1_000.0 / 24.0 / kelvin
}

#[cfg(test)]
mod tests;
