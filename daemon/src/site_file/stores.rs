//! Stores, their elements and the circuits behind them.

use optimiser::problem::HeaterId;
use optimiser::site::{Control, Element, Site, SiteFault, Store};
use optimiser::units::{Current, Fraction, HeatLoss, Power, Temperature, Volume};
use optimiser::water;

use super::fault::{Faults, nearest};
use super::plant_room;
use super::supply;
use super::tree::Node;
use super::{Circuit, Insulation, LossBasis, Wiring};
use crate::house::{Months, Supply};

/// Share of the volume held back where nothing is said: 30 of 250 L, about a
/// shower at the tap.
const HELD_BACK_SHARE: f64 = 0.12;

/// Ratings of protective devices in common use [A].
const RATINGS: [f64; 10] = [6.0, 10.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 63.0, 80.0];

/// One store, its cold water by month and where its loss is known from.
pub(super) fn store(node: &Node, faults: &mut Faults) -> (Store, Option<Months>, LossBasis) {
    let by_month = "mains_celsius_by_month";
    if node.has(by_month) {
        let why = format!("the cold water is given by `{by_month}`");
        node.stray(&["mains_celsius"], &why, faults);
    }
    let cold_water = plant_room::months(node, by_month, faults);
    let (heat_loss, basis) = heat_loss(node, faults);
    let volume = node.quantity("volume_litres", Volume::new);
    let usual_reserve = Volume::clamped(HELD_BACK_SHARE * volume.litres());
    let store = Store {
        name: node.text("name").to_owned(),
        volume,
        height_m: node.number("height_metres"),
        heat_loss,
        surroundings: node.quantity("surroundings_celsius", Temperature::new),
        mains: cold_water.map_or_else(|| node.quantity("mains_celsius", Temperature::new), coldest),
        use_temperature: node.quantity("use_temperature_celsius", Temperature::new),
        ceiling: node.quantity("ceiling_celsius", Temperature::new),
        cut_out: node.maybe_quantity("cut_out_celsius", Temperature::new),
        held_back: node.maybe_quantity("held_back_litres", Volume::new).unwrap_or(usual_reserve),
        destratification_pump: node.flag("destratification_pump"),
        layers: node.number("layers") as usize,
        elements: node.tables("element").iter().map(|e| element(e, faults)).collect(),
        coils: node.tables("coil").iter().map(plant_room::coil).collect(),
        return_loop: node.table("return_loop").map(|n| plant_room::return_loop(n, faults)),
    };
    (store, cold_water, basis)
}

/// The worst that a design meets.
fn coldest(months: Months) -> Temperature {
    Temperature::clamped(months.into_iter().fold(f64::INFINITY, f64::min))
}

fn heat_loss(node: &Node, faults: &mut Faults) -> (HeatLoss, LossBasis) {
    let insulation = insulation(node, faults);
    let direct = "heat_loss_watts_per_kelvin";
    let label = "standing_loss_kwh_per_24h";
    match node.only_one(&[direct, label], faults) {
        Some(given) if given == label => {
            let label_loss = water::loss_from_daily(
                node.number(label),
                node.number("standing_loss_difference_kelvin"),
            );
            let site_factor = node.maybe_number("site_factor");
            let installed = HeatLoss::clamped(label_loss * site_factor.unwrap_or(1.0));
            (
                installed,
                LossBasis { label: Some(HeatLoss::clamped(label_loss)), site_factor, insulation },
            )
        }
        Some(_) => {
            let why = "the loss is given as installed by `heat_loss_watts_per_kelvin`";
            node.stray(&["site_factor", "standing_loss_difference_kelvin"], why, faults);
            let basis = LossBasis { label: None, site_factor: None, insulation };
            (node.quantity(direct, HeatLoss::new), basis)
        }
        None => {
            let basis = LossBasis { label: None, site_factor: None, insulation };
            (node.quantity(direct, HeatLoss::new), basis)
        }
    }
}

fn insulation(node: &Node, faults: &mut Faults) -> Option<Insulation> {
    let millimetres = node.maybe_number("insulation_millimetres");
    if millimetres.is_none() && node.maybe_text("insulation").is_some() {
        if !node.blamed("insulation_millimetres") {
            faults.error(
                node.span_of("insulation"),
                &node.path_of("insulation"),
                "`insulation` without its thickness says nothing".to_owned(),
                Some("add `insulation_millimetres`".to_owned()),
            );
        }
        return None;
    }
    let jacket = node.text("insulation") == "jacket";
    millimetres.map(|millimetres| Insulation { jacket, millimetres })
}

fn element(node: &Node, faults: &mut Faults) -> Element {
    let control = match (node.text("control"), node.numbers("stages_kw")) {
        ("staged", Some(stages)) => {
            Control::Staged(stages.iter().map(|&kw| Power::clamped(kw)).collect())
        }
        ("staged", None) => {
            if !node.blamed("stages_kw") {
                faults.error(
                    node.span_of("control"),
                    &node.path_of("control"),
                    "a staged element without its stages".to_owned(),
                    Some("add `stages_kw`, rising to full power, such as `[1, 2, 3]`".to_owned()),
                );
            }
            Control::OnOff
        }
        (other, _) => {
            let why = format!("the control of the element is \"{other}\", not \"staged\"");
            node.stray(&["stages_kw"], &why, faults);
            if other == "modulating" { Control::Modulating } else { Control::OnOff }
        }
    };
    Element {
        name: node.text("name").to_owned(),
        power: node.quantity("power_kw", Power::new),
        height: node.quantity("height_fraction", Fraction::new),
        control,
        thermostat: node.quantity("thermostat_celsius", Temperature::new),
    }
}

/// Brings each contradiction of the site back to the value it stands at. What
/// was blamed already is not blamed again.
pub(super) fn site_faults(site: &Site, root: &Node, faults: &mut Faults) {
    let blamed = faults.paths();
    for SiteFault { place, store, element, field, rule } in site.faults() {
        let store_node = store.and_then(|index| root.tables("store").get(index));
        let element_node =
            store_node.zip(element).and_then(|(node, index)| node.tables("element").get(index));
        let part = part_of(root, store_node, &place);
        let node = element_node.or(part).or(store_node).unwrap_or(root);
        let key = if field == "control" && node.has("stages_kw") {
            Some("stages_kw")
        } else {
            // The plural fields are lists; their tables have singular names.
            let words = std::iter::successors(Some(field), |f| f.rsplit_once('_').map(|(f, _)| f));
            let mut words = words.flat_map(|word| [word, word.trim_end_matches('s')]);
            words.find_map(|word| node.key_like(word))
        };
        // A name in a list that means nothing was reported where it stands.
        if key.is_some_and(|key| node.blamed(key) || blamed.contains(&node.path_of(key))) {
            continue;
        }
        let span = key.map_or(node.span.clone(), |key| node.span_of(key));
        let path = key.map_or(node.path.clone(), |key| node.path_of(key));
        let (message, suggestion) = match rule.rsplit_once("; ") {
            Some((message, remedy)) => (message.to_owned(), Some(remedy.to_owned())),
            None => (rule, None),
        };
        faults.error(span, &path, format!("{place}: {message}"), suggestion);
    }
}

/// The table of a place that a fault of the site names.
fn part_of<'r>(root: &'r Node, store: Option<&'r Node>, place: &str) -> Option<&'r Node> {
    if let Some(name) = place.strip_prefix("heat pump `").and_then(|p| p.strip_suffix('`')) {
        return root.tables("heat_pump").iter().find(|node| node.text("name") == name);
    }
    match place {
        "site" => None,
        "phases" => root.table("grid"),
        "immersion element of the buffer" => root.table("buffer"),
        _ if place.starts_with("return loop") => store?.table("return_loop"),
        _ => root.table(place),
    }
}

/// Currents of the elements, circuit by circuit.
pub(super) fn wiring(
    root: &Node,
    site: &Site,
    supply: &Supply,
    faults: &mut Faults,
) -> (Vec<Wiring>, Vec<Circuit>) {
    let mut circuits = shared_circuits(root, faults);
    let mut wiring = Vec::new();
    let pairs = root.tables("store").iter().zip(&site.stores).enumerate();
    for (store, (store_node, store_meant)) in pairs {
        let elements = store_node.tables("element").iter().zip(&store_meant.elements).enumerate();
        for (index, (node, element)) in elements {
            let phases = element_phases(node, supply, faults);
            let current = element.power.current_at(supply.volts * f64::from(phases));
            let circuit = match node.only_one_or_none(&["circuit_amperes", "circuit"], faults) {
                Some("circuit") => named_circuit(node, &circuits, faults),
                Some(_) => {
                    let rating = node.quantity("circuit_amperes", Current::new);
                    let name = format!("{} / {}", store_meant.name, element.name);
                    circuits.push(Circuit { name, rating, load: Current::constant(0.0) });
                    Some(circuits.len() - 1)
                }
                None => None,
            };
            if let Some(circuit) = circuit.map(|at| &mut circuits[at]) {
                let sum = circuit.load.amperes() + current.amperes();
                circuit.load = Current::clamped(sum);
                let known = !node.blamed("power_kw") && !root.part("grid").blamed("voltage_volts");
                if sum > circuit.rating.amperes() && known {
                    report_overload(node, element, current, circuit, faults);
                }
            }
            wiring.push(Wiring {
                heater: HeaterId { store, element: index },
                phases,
                current,
                circuit,
            });
        }
    }
    (wiring, circuits)
}

fn shared_circuits(root: &Node, faults: &mut Faults) -> Vec<Circuit> {
    let mut circuits: Vec<Circuit> = Vec::new();
    for node in root.tables("circuit") {
        let name = node.text("name");
        if circuits.iter().any(|other| other.name == name) && !node.blamed("name") {
            faults.error(
                node.span_of("name"),
                &node.path_of("name"),
                format!("another circuit has the name \"{name}\""),
                Some("names must differ".to_owned()),
            );
        }
        let rating = node.quantity("rating_amperes", Current::new);
        circuits.push(Circuit { name: name.to_owned(), rating, load: Current::constant(0.0) });
    }
    circuits
}

/// Phases of an element or a heat pump.
pub(super) fn element_phases(node: &Node, supply: &Supply, faults: &mut Faults) -> u8 {
    let phases = supply::phases(node, faults);
    if phases > supply.phases {
        faults.error(
            node.span_of("phases"),
            &node.path_of("phases"),
            "a three-phase device has no meaning on a single-phase supply".to_owned(),
            Some("write `phases = 1` here, or `phases = 3` in `[grid]`".to_owned()),
        );
    }
    phases
}

fn named_circuit(node: &Node, circuits: &[Circuit], faults: &mut Faults) -> Option<usize> {
    let name = node.maybe_text("circuit")?;
    let found = circuits.iter().position(|circuit| circuit.name == name);
    if found.is_none() {
        let known = circuits.iter().map(|circuit| circuit.name.as_str());
        faults.error(
            node.span_of("circuit"),
            &node.path_of("circuit"),
            format!("no circuit has the name \"{name}\""),
            Some(nearest(name, known).map_or_else(
                || "describe it in a table `[[circuit]]`".to_owned(),
                |meant| format!("did you mean \"{meant}\"?"),
            )),
        );
    }
    found
}

fn report_overload(
    node: &Node,
    element: &Element,
    current: Current,
    circuit: &Circuit,
    faults: &mut Faults,
) {
    let own = node.has("circuit_amperes");
    let what = if own {
        format!("element `{}` of {} draws {:.2} A", element.name, element.power, current.amperes())
    } else {
        format!(
            "with element `{}` the elements on circuit `{}` draw {:.2} A together",
            element.name,
            circuit.name,
            circuit.load.amperes()
        )
    };
    let fitting = RATINGS.iter().find(|rating| **rating >= circuit.load.amperes());
    faults.error(
        node.span_of(if own { "circuit_amperes" } else { "circuit" }),
        &node.path_of(if own { "circuit_amperes" } else { "circuit" }),
        format!("{what}, above the rating of {} A", circuit.rating.amperes()),
        Some(fitting.map_or_else(
            || "no common circuit carries that: divide the load".to_owned(),
            |amperes| {
                format!(
                    "a circuit of {amperes} A would carry it; fixed wiring is for licensed people"
                )
            },
        )),
    );
}
