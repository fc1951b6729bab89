//! Keys of coils, the return loop, rooms, pool and climate.

use super::super::shape::Kind::{Choice, Days, Numbers, Tables, Text, Time};
use super::super::shape::{Shape, assumed, number, optional, required};

pub(super) static COIL: Shape = Shape {
    about: "A heating coil in a band of heights. Its transfer is given by its rating.",
    keys: &[
        required("name", Text("lower"), "Name that sources refer to."),
        required("bottom_fraction", number(0.0, 1.0, 0.05), "Lower end, share of the height."),
        required("top_fraction", number(0.0, 1.0, 0.4), "Upper end, share of the height."),
        required("rated_kw", number(0.1, 500.0, 15.0), "Heat that it passes by its data sheet."),
        required(
            "rated_difference_kelvin",
            number(1.0, 80.0, 25.0),
            "At that rating, the mean of flow and return above the water around it.",
        ),
    ],
};

pub(super) static RETURN_LOOP: Shape = Shape {
    about: "Secondary circulation that starts and ends in this store. Loss and content follow from pipe and insulation (cylinder formula of ISO 12241) unless they are stated.",
    keys: &[
        required("length_metres", number(0.5, 1_000.0, 30.0), "Pipe there and back."),
        optional("diameter_millimetres", number(8.0, 76.0, 22.0), "Outer diameter of copper pipe."),
        optional(
            "insulation_millimetres",
            number(0.0, 100.0, 19.0),
            "Thickness of its insulation; bare if left out.",
        ),
        optional(
            "loss_watts_per_metre_kelvin",
            number(0.01, 5.0, 0.22),
            "Loss of each metre, instead of diameter and insulation.",
        ),
        optional(
            "content_litres",
            number(0.1, 500.0, 9.6),
            "Water in the pipe, needed where the diameter is not given.",
        ),
        assumed("flow_litres_per_minute", number(0.1, 60.0, 4.0), "Flow while the pump runs."),
        assumed("surroundings_celsius", number(-20.0, 50.0, 18.0), "Temperature around the pipe."),
        assumed(
            "cut_off_celsius",
            number(20.0, 70.0, 40.0),
            "The pipe thermostat stops the pump when the return is this warm (common practice, no published source).",
        ),
        assumed(
            "return_height_fraction",
            number(0.0, 1.0, 0.6),
            "Height at which the return enters.",
        ),
        assumed("pump_watts", number(0.0, 500.0, 20.0), "Power of the pump."),
        required(
            "runs",
            Tables(&LOOP_RUN),
            "When its pump runs, timed or as movement is expected.",
        ),
    ],
};

static LOOP_RUN: Shape = Shape {
    about: "A run of the circulation pump.",
    keys: &[
        required("at", Time("06:30"), "Local time it starts."),
        assumed("days", Days, "Days it happens."),
        assumed("minutes", number(1.0, 1_440.0, 10.0), "How long it runs."),
    ],
};

pub(super) static ROOMS: Shape = Shape {
    about: "The heated rooms, seen as one. Their loss is calculated (`heat_loss_watts_per_kelvin`, or `design_loss_kw` on the design day) and, if known, measured.",
    keys: &[
        required("floor_square_metres", number(5.0, 10_000.0, 140.0), "Heated floor."),
        optional(
            "heat_loss_watts_per_kelvin",
            number(1.0, 5_000.0, 180.0),
            "Heat-loss coefficient as calculated.",
        ),
        optional("design_loss_kw", number(0.1, 100.0, 5.0), "Calculated loss on the design day."),
        optional(
            "measured_loss_watts_per_kelvin",
            number(1.0, 5_000.0, 150.0),
            "Coefficient as measured; planned with if given.",
        ),
        required(
            "design_outdoor_celsius",
            number(-50.0, 15.0, -3.0),
            "Outdoor temperature of the design day.",
        ),
        assumed(
            "design_indoor_celsius",
            number(10.0, 30.0, 21.0),
            "Indoor temperature of the design day.",
        ),
        required(
            "flow_on_design_day_celsius",
            number(20.0, 90.0, 45.0),
            "Flow temperature of the heating curve on the design day.",
        ),
        assumed(
            "mild_outdoor_celsius",
            number(0.0, 30.0, 16.0),
            "Outdoor temperature from which the flow falls no further.",
        ),
        assumed("flow_on_mild_day_celsius", number(18.0, 80.0, 28.0), "Flow temperature there."),
        optional(
            "emitters_kw",
            number(0.1, 200.0, 6.0),
            "What floors and radiators give on the design day at the flow of the curve; the calculated loss if left out.",
        ),
        assumed(
            "window_share_fraction",
            number(0.0, 0.9, 0.15),
            "Part of the loss through windows and doors (common practice, no published source).",
        ),
        assumed(
            "ventilation_share_fraction",
            number(0.0, 0.9, 0.3),
            "Part of the loss with the air (common practice, no published source).",
        ),
        assumed(
            "mass",
            Choice(&["medium", "very light", "light", "heavy", "very heavy"]),
            "Class of thermal mass after ISO 13790: 165, 80, 110, 260 or 370 kJ/K for each m² of floor.",
        ),
        optional(
            "capacity_kwh_per_k",
            number(0.05, 5_000.0, 6.4),
            "Heat that warms the inner mass by a kelvin, instead of the class.",
        ),
        optional(
            "gains_kw",
            number(0.0, 50.0, 0.4),
            "Mean heat of people, appliances and sun; 3 W for each m² of floor if left out (common practice, no published source).",
        ),
        assumed("limit_celsius", number(10.0, 35.0, 24.0), "Room thermostats close here."),
        required(
            "comfort",
            Tables(&COMFORT),
            "Air temperature by local time of day, first at 00:00.",
        ),
    ],
};

static COMFORT: Shape = Shape {
    about: "A band of comfort, until the next one.",
    keys: &[
        required("from", Time("00:00"), "Local time it begins."),
        required("low_celsius", number(0.0, 45.0, 19.0), "Lowest."),
        required("high_celsius", number(0.0, 45.0, 22.0), "Highest."),
    ],
};

pub(super) static POOL: Shape = Shape {
    about: "A swimming pool, taken as mixed. Its comfort is `comfort` or `above_air_kelvin`.",
    keys: &[
        required("surface_square_metres", number(0.5, 2_000.0, 32.0), "Surface of the water."),
        required("depth_metres", number(0.2, 6.0, 1.4), "Mean depth."),
        assumed("place", Choice(&["outdoor", "indoor"]), "Where it lies."),
        assumed(
            "evaporation",
            Choice(&["smith-lof-jones", "ashrae"]),
            "Outdoors: the equation of Smith, Löf and Jones 1994, measured on an unoccupied outdoor pool, or ASHRAE's.",
        ),
        assumed(
            "wind_share_fraction",
            number(0.0, 1.0, 0.3),
            "Outdoors: wind at the surface as a share of the weather's; 0.1 to 0.3 in a walled garden, 1 in the open (common practice, no published source).",
        ),
        assumed(
            "cover_watts_per_m2_k",
            number(0.1, 30.0, 3.5),
            "Outdoors: loss through the cover; 3.5 to 5 for bubble foil, 2 to 3 for foam slats (common practice, no published source).",
        ),
        assumed(
            "absorbed_open_fraction",
            number(0.0, 1.0, 0.85),
            "Outdoors: share of sunlight that open water keeps (ISO/TR 12596 after Kalogirou 2009, light pool).",
        ),
        assumed(
            "absorbed_covered_fraction",
            number(0.0, 1.0, 0.3),
            "Outdoors: share that passes the cover and is kept (common practice, no published source).",
        ),
        optional(
            "covered",
            Tables(&COVERED),
            "Outdoors: local times under the cover; none is open.",
        ),
        assumed(
            "loss_watts_per_m2",
            number(0.0, 1_000.0, 150.0),
            "Indoors: steady loss of the surface (common practice, no published source).",
        ),
        optional(
            "ground_loss_watts_per_kelvin",
            number(0.0, 1_000.0, 25.0),
            "Loss of walls and floor; 0.4 W/K for each m² of them if left out (common practice, no published source).",
        ),
        assumed("ground_celsius", number(-10.0, 30.0, 10.0), "Temperature of the ground around."),
        required("exchanger_kw", number(0.1, 500.0, 12.0), "Most heat that its exchanger passes."),
        assumed("limit_celsius", number(5.0, 42.0, 30.0), "It is not heated beyond this."),
        optional("comfort", Tables(&COMFORT), "Water by local time of day, first at 00:00."),
        optional(
            "above_air_kelvin",
            number(0.0, 35.0, 8.0),
            "Wanted: the mean air of the day and so many degrees.",
        ),
    ],
};

static COVERED: Shape = Shape {
    about: "A time under the cover; `until` at or before `from` runs past midnight.",
    keys: &[
        required("from", Time("19:00"), "Local start."),
        required("until", Time("09:00"), "Local end."),
    ],
};

pub(super) static CLIMATE: Shape = Shape {
    about: "What is assumed where the weather given to a command is silent: one value, or twelve from January to December.",
    keys: &[
        optional(
            "outdoor_celsius",
            Numbers { min: -50.0, max: 45.0, usual: &[5.0] },
            "Mean outdoor temperature.",
        ),
        optional(
            "brine_celsius",
            Numbers { min: -10.0, max: 25.0, usual: &[5.0] },
            "Brine from the ground; 5 °C if left out: soil of 10 °C less the 5 K of Ruhnau et al. 2019.",
        ),
        optional(
            "wind_metres_per_second",
            Numbers { min: 0.0, max: 40.0, usual: &[3.0] },
            "Wind of the weather station; 3 m/s if left out (common practice, no published source).",
        ),
        optional(
            "humidity_percent",
            Numbers { min: 1.0, max: 100.0, usual: &[80.0] },
            "Relative humidity; 80 % if left out (common practice, no published source).",
        ),
    ],
};

pub(super) static STATE_ROOMS: Shape = Shape {
    about: "Temperatures in the rooms.",
    keys: &[
        required("air_celsius", number(-20.0, 45.0, 20.0), "The air."),
        optional(
            "mass_celsius",
            number(-20.0, 45.0, 19.5),
            "Walls and floors; as warm as the air if left out.",
        ),
    ],
};
