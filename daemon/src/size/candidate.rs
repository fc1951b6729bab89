//! The houses that a study tries.

use optimiser::problem::HeaterId;
use optimiser::sizing::{Capacity, Outlay, combinations, one_at_a_time};
use optimiser::units::Energy;

use super::axis::Axis;
use super::label::{is_removal, label};
use crate::house::House;
use crate::site_file::{self, Options, Place, place, with_numbers};

/// What a study is asked to try.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    /// Text of the site file.
    pub text: &'a str,
    /// Its name, for messages.
    pub file_name: &'a str,
    /// Numbers in which the house as it stands differs from the file.
    pub present: &'a [Axis],
    /// Numbers to try.
    pub axes: &'a [Axis],
    /// Whether each axis is tried by itself rather than every combination.
    pub one_at_a_time: bool,
    /// Things to buy, and prices.
    pub options: &'a Options,
}

/// A number that a candidate changes.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Path in the site file.
    pub key: String,
    /// Value of the house as it stands.
    pub from: f64,
    /// Value tried.
    pub to: f64,
    /// The size that it is.
    pub capacity: Option<Capacity>,
}

/// A house to try.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Its name.
    pub name: String,
    /// What differs from the house as it stands.
    pub changes: Vec<Change>,
    /// What it costs, if every change has a price.
    pub outlays: Option<Vec<Outlay>>,
    /// The house.
    pub house: House,
    /// The site file that describes it, but for what was left out.
    pub text: String,
    /// What was left out of that file, because its size is zero.
    pub left_out: Vec<String>,
}

/// Name of the house as it stands.
pub const PRESENT: &str = "as it is";

/// The house as it stands, and every candidate; each house once.
///
/// # Errors
/// Everything that is wrong with paths, values and the houses they make.
pub fn candidates(wanted: &Wanted<'_>) -> Result<Vec<Candidate>, String> {
    let mut problems = Vec::new();
    let mut places = Places { wanted, problems: &mut problems };
    let present: Vec<(Place, f64)> = wanted
        .present
        .iter()
        .flat_map(|axis| axis.keys.iter().zip(axis.steps.first().into_iter().flatten()))
        .filter_map(|(key, to)| Some((places.find(key)?, *to)))
        .collect();
    let tried = places.tried();
    let mut all: Vec<Candidate> = Vec::new();
    let nothing =
        Tried { name: Some(PRESENT.to_owned()), sets: Vec::new(), outlays: Some(Vec::new()) };
    for one in std::iter::once(nothing).chain(tried) {
        match one.candidate(wanted, &present) {
            Ok(candidate) => {
                let known = |other: &Candidate| {
                    other.text == candidate.text && other.left_out == candidate.left_out
                };
                if !all.iter().any(known) {
                    all.push(candidate);
                }
            }
            Err(problem) => {
                if !problems.contains(&problem) {
                    problems.push(problem);
                }
            }
        }
    }
    if problems.is_empty() { Ok(all) } else { Err(problems.join("\n")) }
}

/// Paths that were looked up, with what was wrong about them.
struct Places<'a> {
    wanted: &'a Wanted<'a>,
    problems: &'a mut Vec<String>,
}

/// Numbers to set together.
struct Tried {
    /// Name, where it is not made of the numbers.
    name: Option<String>,
    sets: Vec<(Place, f64)>,
    outlays: Option<Vec<Outlay>>,
}

impl Places<'_> {
    fn find(&mut self, key: &str) -> Option<Place> {
        match place(self.wanted.text, key) {
            Ok(place) => Some(place),
            Err(problem) => {
                if !self.problems.contains(&problem) {
                    self.problems.push(problem);
                }
                None
            }
        }
    }

    fn tried(&mut self) -> Vec<Tried> {
        let axes = self.wanted.axes;
        let found: Vec<Vec<Place>> = axes
            .iter()
            .map(|axis| axis.keys.iter().filter_map(|key| self.find(key)).collect())
            .collect();
        let mut all = Vec::new();
        let counts: Vec<usize> = axes.iter().map(|axis| axis.steps.len()).collect();
        let choices: Vec<Vec<Option<usize>>> = if self.wanted.one_at_a_time {
            one_at_a_time(&counts)
        } else {
            combinations(&counts)
                .into_iter()
                .map(|list| list.into_iter().map(Some).collect())
                .collect()
        };
        for choice in choices.iter().filter(|choice| !choice.is_empty()) {
            let chosen: Vec<(usize, usize)> = choice
                .iter()
                .enumerate()
                .filter_map(|(axis, step)| step.map(|step| (axis, step)))
                .collect();
            let sets = chosen.iter().flat_map(|&(axis, step)| {
                found[axis].iter().cloned().zip(axes[axis].steps[step].iter().copied())
            });
            all.push(Tried { name: None, sets: sets.collect(), outlays: None });
        }
        for offer in &self.wanted.options.options {
            let sets = offer.changes.iter().filter_map(|(key, to)| Some((self.find(key)?, *to)));
            all.push(Tried {
                name: Some(offer.name.clone()),
                sets: sets.collect(),
                outlays: Some(vec![offer.outlay]),
            });
        }
        all
    }
}

/// A number to set.
type Set<'a> = &'a (Place, f64);

impl Tried {
    fn candidate(self, wanted: &Wanted<'_>, present: &[(Place, f64)]) -> Result<Candidate, String> {
        let stands = |place: &Place| {
            present.iter().find(|(p, _)| p.path == place.path).map_or(place.present, |(_, v)| *v)
        };
        let differs = |a: f64, b: f64| (a - b).abs() > 1e-9;
        let changed: Vec<&(Place, f64)> =
            self.sets.iter().filter(|(place, to)| differs(stands(place), *to)).collect();
        let kept = present.iter().filter(|(p, _)| !self.sets.iter().any(|(s, _)| s.path == p.path));
        let all: Vec<&(Place, f64)> = kept.chain(&self.sets).collect();
        let (gone, set): (Vec<Set<'_>>, Vec<Set<'_>>) =
            all.iter().copied().partition(|(place, to)| is_removal(place, *to));
        let mut numbers: Vec<(&Place, f64)> = set.iter().map(|(place, to)| (place, *to)).collect();
        let level = place(wanted.text, "state.battery_kwh").ok();
        let capacity = set.iter().find(|(place, _)| place.keys == "battery.capacity_kwh");
        // What the file says of today does not hold for a smaller battery.
        if let (Some(level), Some((_, capacity))) = (&level, capacity)
            && level.present > *capacity
            && !set.iter().any(|(place, _)| place.keys == level.keys)
        {
            numbers.push((level, *capacity));
        }
        let text = with_numbers(wanted.text, &numbers);
        // Of keys that go in step, the first one names them all.
        let follows = |place: &Place| {
            let axis = wanted.axes.iter().find(|axis| axis.keys.contains(&place.path));
            axis.is_some_and(|axis| {
                let mut before = axis.keys.iter().take_while(|key| **key != place.path);
                before.any(|key| changed.iter().any(|(other, _)| other.path == *key))
            })
        };
        let names: Vec<String> = changed
            .iter()
            .filter(|(place, _)| !follows(place))
            .map(|(place, to)| label(place, *to))
            .collect();
        let name = self.name.unwrap_or_else(|| {
            if names.is_empty() { PRESENT.to_owned() } else { names.join(", ") }
        });
        let mut house = site_file::read(&text, wanted.file_name)
            .map_err(|report| format!("{name}:\n{}", report.rendered(false)))?
            .house;
        for (place, _) in &gone {
            leave_out(&mut house, place);
        }
        if let Some(store) = house.site.stores.iter().find(|store| store.elements.is_empty()) {
            return Err(format!("{name}: nothing is left to heat store `{}`", store.name));
        }
        let outlays = self.outlays.or_else(|| priced(&changed, wanted));
        Ok(Candidate {
            name,
            outlays,
            house,
            text,
            left_out: gone.iter().map(|(place, _)| place.path.clone()).collect(),
            changes: changed
                .iter()
                .map(|(place, to)| Change {
                    key: place.path.clone(),
                    from: stands(place),
                    to: *to,
                    capacity: capacity_of(place),
                })
                .collect(),
        })
    }
}

/// What the changes of a grid cost; `None` where one of them has no price. Of
/// keys varied together one must have a price; what is left out costs nothing.
fn priced(changed: &[&(Place, f64)], wanted: &Wanted<'_>) -> Option<Vec<Outlay>> {
    let price = |path: &str, to: f64| {
        let mut all = wanted.options.prices.iter();
        all.find(|(key, value, _)| key == path && (value - to).abs() < 1e-9).map(|(.., o)| *o)
    };
    let mut outlays = Vec::new();
    for (place, to) in changed {
        if let Some(outlay) = price(&place.path, *to) {
            outlays.push(outlay);
            continue;
        }
        let axis = wanted.axes.iter().find(|axis| axis.keys.contains(&place.path))?;
        let partner = axis.keys.iter().filter(|key| **key != place.path).any(|key| {
            changed.iter().any(|(other, to)| other.path == *key && price(key, *to).is_some())
        });
        if !partner && !is_removal(place, *to) {
            return None;
        }
    }
    Some(outlays)
}

pub(super) fn leave_out(house: &mut House, place: &Place) {
    match (place.keys.as_str(), place.entries.as_slice()) {
        ("battery.capacity_kwh", _) => {
            house.site.battery = None;
            house.state.battery = Energy::constant(0.0);
        }
        (_, &[store, element]) => {
            house.site.stores[store].elements.remove(element);
        }
        _ => {}
    }
}

fn capacity_of(place: &Place) -> Option<Capacity> {
    Some(match (place.keys.as_str(), place.entries.as_slice()) {
        ("store.element.power_kw", &[store, element]) => {
            Capacity::Element(HeaterId { store, element })
        }
        ("store.volume_litres", &[store]) => Capacity::Volume(store),
        ("battery.capacity_kwh", _) => Capacity::Battery,
        ("battery.charge_limit_kw" | "battery.discharge_limit_kw", _) => Capacity::BatteryPower,
        ("grid.fuse_amperes" | "grid.import_limit_kw", _) => Capacity::Import,
        ("grid.export_limit_kw", _) => Capacity::Export,
        ("pv.peak_kw", _) => Capacity::Sun,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const DEMO: &str = include_str!("../../../fixtures/sites/harbour-row.toml");

    fn axes(list: &[&str]) -> Vec<Axis> {
        list.iter().map(|text| text.parse().expect("an axis")).collect()
    }

    fn all(present: &[&str], vary: &[&str], single: bool) -> Result<Vec<Candidate>, String> {
        candidates(&Wanted {
            text: DEMO,
            file_name: "demo.toml",
            present: &axes(present),
            axes: &axes(vary),
            one_at_a_time: single,
            options: &Options::default(),
        })
    }

    #[test]
    fn a_grid_holds_the_present_house_once() {
        let grid = all(
            &[],
            &[
                "store.cylinder.element.bottom.power_kw+store.cylinder.element.bottom.circuit_amperes=3+16,6+32",
                "store.cylinder.volume_litres=250,300",
            ],
            false,
        )
        .expect("houses");
        let names: Vec<&str> = grid.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(
            names,
            [PRESENT, "cylinder 300 L", "bottom 6 kW", "bottom 6 kW, cylinder 300 L"]
        );
        assert!((grid[3].house.site.stores[0].elements[0].power.kw() - 6.0).abs() < 1e-12);
        assert!((grid[3].changes[0].from - 3.0).abs() < 1e-12);
    }

    #[test]
    fn nothing_of_a_size_is_left_out() {
        let found =
            all(&["battery.capacity_kwh=0"], &["battery.capacity_kwh=2,8"], true).expect("houses");
        assert!(found[0].house.site.battery.is_none());
        assert_eq!(found[1].name, "battery 2 kWh");
        // The file says 3 kWh are in it, which 2 kWh cannot hold.
        assert!((found[1].house.state.battery.kwh() - 2.0).abs() < 1e-12);
        assert!(
            (found[2].house.site.battery.expect("a battery").capacity.kwh() - 8.0).abs() < 1e-12
        );
        assert_eq!(found[2].changes.len(), 1);
        let bare = all(&[], &["store.cylinder.element.top.power_kw=0"], false).expect("houses");
        assert_eq!(bare[1].name, "no top");
        assert_eq!(bare[1].house.site.stores[0].elements.len(), 1);
    }

    #[test]
    fn keys_may_go_in_step() {
        let found = all(
            &[],
            &["store.cylinder.volume_litres+store.cylinder.standing_loss_kwh_per_24h=200+1.4,300+1.7"],
            false,
        )
        .expect("houses");
        assert_eq!(found.len(), 3);
        assert_eq!(found[2].name, "cylinder 300 L");
        assert_eq!(found[2].changes.len(), 2);
    }

    #[test]
    fn everything_wrong_is_told_at_once() {
        let error = all(
            &[],
            &["store.cylinder.volum_litres=300", "battery.reserve_kwh=0.5,9", "grid.fuse=60"],
            true,
        )
        .expect_err("faults");
        for words in [
            "did you mean `volume_litres`?",
            "did you mean `fuse_amperes`?",
            "battery reserve 9 kWh:",
            "above the capacity",
        ] {
            assert!(error.contains(words), "no {words} in {error}");
        }
        for text in ["battery.capacity_kwh", "a=1,x", "a+b=1"] {
            assert!(text.parse::<Axis>().is_err(), "{text}");
        }
    }
}
