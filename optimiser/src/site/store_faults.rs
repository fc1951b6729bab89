//! What contradicts itself in a store.

use super::store::RUNG_SPACING_K;
use super::{
    CUT_OUT_MARGIN_K, Control, Element, HARD_CEILING, ReturnLoop, SiteFault, Store, expect_within,
    fault,
};

pub(super) fn store_faults(index: usize, store: &Store, faults: &mut Vec<SiteFault>) {
    let place = format!("store `{}`", store.name);
    let mut add = |field, rule: String| {
        faults.push(SiteFault { store: Some(index), ..fault(&place, field, &rule) });
    };
    if store.volume.litres() < 1.0 {
        add(
            "volume",
            format!("a volume of {} holds no heat; give the water content", store.volume),
        );
    }
    if !(store.height_m.is_finite() && (0.1..=10.0).contains(&store.height_m)) {
        add(
            "height_m",
            format!("a height of {} m is not a store's; 0.1 to 10 m is accepted", store.height_m),
        );
    }
    if store.ceiling > HARD_CEILING {
        add(
            "ceiling",
            format!(
                "a ceiling of {} is above {HARD_CEILING}, the most that is ever planned for a domestic cylinder; lower it",
                store.ceiling
            ),
        );
    }
    if let Some(cut_out) = store.cut_out
        && cut_out.above(store.ceiling) < CUT_OUT_MARGIN_K
    {
        add(
            "ceiling",
            format!(
                "the ceiling {} is less than {CUT_OUT_MARGIN_K} K below the cut-out {cut_out}; lower it to {} °C",
                store.ceiling,
                cut_out.celsius() - CUT_OUT_MARGIN_K
            ),
        );
    }
    if store.use_temperature.above(store.mains) < 5.0 {
        add(
            "use_temperature",
            format!(
                "the use temperature {} is not at least 5 K above the mains {}",
                store.use_temperature, store.mains
            ),
        );
    }
    if store.ceiling.above(store.use_temperature) < RUNG_SPACING_K {
        add(
            "ceiling",
            format!(
                "the ceiling {} leaves no room above the use temperature {}; it must be at least {RUNG_SPACING_K} K higher",
                store.ceiling, store.use_temperature
            ),
        );
    }
    if !(5..=200).contains(&store.layers) {
        add(
            "layers",
            format!("{} layers cannot be simulated; 5 to 200 are accepted", store.layers),
        );
    }
    if store.held_back > store.volume {
        add(
            "held_back",
            format!("{} held back are more than the store's {}", store.held_back, store.volume),
        );
    }
    if store.elements.is_empty() && store.coils.is_empty() {
        add("elements", "nothing can heat this store; give it an element".to_owned());
    }
    for (number, coil) in store.coils.iter().enumerate() {
        if coil.bottom >= coil.top {
            add(
                "coils",
                format!(
                    "coil {number} ends at {} of the height and begins at {}; its top must be above its bottom",
                    coil.top.value(),
                    coil.bottom.value()
                ),
            );
        }
        if coil.transfer.watts_per_kelvin() <= 0.0 {
            add("coils", format!("coil {number} passes no heat; give its rating"));
        }
    }
    if let Some(pipe) = &store.return_loop {
        return_loop_faults(index, store, pipe, faults);
    }
    for (number, element) in store.elements.iter().enumerate() {
        element_faults(index, number, store, element, faults);
    }
}

fn return_loop_faults(index: usize, store: &Store, pipe: &ReturnLoop, faults: &mut Vec<SiteFault>) {
    let place = format!("return loop of store `{}`", store.name);
    let first = faults.len();
    expect_within(faults, &place, "length_m", pipe.length_m, (0.5, 1_000.0, "m"));
    expect_within(faults, &place, "loss_w_per_mk", pipe.loss_w_per_mk, (0.01, 5.0, "W/(m·K)"));
    if pipe.flow.litres_per_minute() <= 0.0 {
        faults.push(fault(&place, "flow", "its flow is zero; give the flow with the pump on"));
    }
    if pipe.content.litres() <= 0.0 {
        faults.push(fault(&place, "content", "it holds no water; give the content of the pipe"));
    }
    if pipe.cut_off <= pipe.surroundings {
        let rule = format!(
            "its thermostat stops the pump at {}, no warmer than the air around it, {}; the pump would never run",
            pipe.cut_off, pipe.surroundings
        );
        faults.push(fault(&place, "cut_off", &rule));
    }
    for fault in &mut faults[first..] {
        fault.store = Some(index);
    }
}

fn element_faults(
    index: usize,
    number: usize,
    store: &Store,
    element: &Element,
    faults: &mut Vec<SiteFault>,
) {
    let place = format!("element `{}` of store `{}`", element.name, store.name);
    let mut add = |field, rule: String| {
        faults.push(SiteFault {
            store: Some(index),
            element: Some(number),
            ..fault(&place, field, &rule)
        });
    };
    if element.power.kw() <= 0.0 {
        add("power", "its power is zero; give the rated power".to_owned());
    }
    if element.height.value() >= 0.95 {
        add(
            "height",
            format!(
                "at {} of the height it heats almost no water; elements stand at 0.95 or lower",
                element.height.value()
            ),
        );
    }
    if element.thermostat.above(store.use_temperature) < RUNG_SPACING_K {
        add(
            "thermostat",
            format!(
                "its thermostat {} keeps it from making useful water; set it at least {RUNG_SPACING_K} K above the use temperature {}",
                element.thermostat, store.use_temperature
            ),
        );
    }
    if store.elements[..number].iter().any(|other| other.name == element.name) {
        add("name", "another element of the store has the same name; names must differ".to_owned());
    }
    if let Control::Staged(powers) = &element.control {
        let rising = powers.windows(2).all(|pair| pair[0] < pair[1]);
        let ends_full = powers.last() == Some(&element.power);
        if powers.is_empty() || !rising || !ends_full || powers[0].kw() <= 0.0 {
            add("control", "its stages must rise from above zero to its full power".to_owned());
        }
    }
}
