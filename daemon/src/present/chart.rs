//! The plan as a picture: prices, what each heater takes from where, sun and
//! battery, and how warm the stores are, over local time.
//!
//! Nothing is told by colour alone: lines differ in dash, areas in hatch, and
//! each carries its name at its right end.

use super::Plan;
use super::svg::{Anchor, Svg};
use frame::{Frame, Timeline};

mod finding;
mod frame;
mod labels;
mod panels;

/// Width of the picture [px].
const WIDTH: f64 = 1_200.0;
/// Left and right ends of every plot [px].
const PLOT: (f64, f64) = (72.0, 1_008.0);
/// Characters of a line of the finding.
const LINE: usize = 150;

/// The plan as an SVG document.
pub fn render(plan: &Plan<'_>) -> String {
    let (from, until) = plan.window();
    let finding = finding::of(plan);
    let lines = lines(&finding);
    let head = 58.0 + 19.0 * lines.len() as f64;
    let panels = panels::of(plan);
    let plots_top = head + 34.0;
    let bottom: f64 = plots_top + panels.iter().map(panels::Panel::room).sum::<f64>();
    let height = bottom + 30.0;

    let name = format!("Plan for {}", plan.house.name);
    let mut svg = Svg::new(WIDTH, height, &name, &finding);
    svg.raw(include_str!("chart/style.svg"));
    svg.open("aria-hidden=\"true\"");
    svg.rect("paper", (0.0, 0.0), WIDTH, height);
    svg.text("name", Anchor::Start, (24.0, 38.0), &name);
    for (row, line) in lines.iter().enumerate() {
        svg.text("finding", Anchor::Start, (24.0, 62.0 + 19.0 * row as f64), line);
    }
    let time = Timeline::new(plan.zone(), from, until, PLOT);
    time.days(&mut svg, head + 22.0);
    let mut top = plots_top;
    for panel in &panels {
        let frame = Frame::new(&time, panel.scale(), top + panels::TITLE, panel.height);
        panel.draw(plan, &mut svg, &frame);
        top += panel.room();
    }
    time.hours(&mut svg, bottom + 6.0);
    svg.close();
    svg.finish()
}

/// The finding in lines that fit the picture.
fn lines(text: &str) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.last_mut().expect("there is always a line");
        if !last.is_empty() && last.chars().count() + word.chars().count() >= LINE {
            lines.push(word.to_owned());
        } else {
            if !last.is_empty() {
                last.push(' ');
            }
            last.push_str(word);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::present::{golden, local, sample};

    #[test]
    fn charts_are_as_they_were() {
        let samples = sample::all();
        for (name, sample) in ["summer", "autumn", "plain"].into_iter().zip(&samples) {
            golden::check(&format!("chart-{name}.svg"), &render(&sample.plan()));
        }
    }

    #[test]
    fn the_picture_says_in_words_what_it_shows() {
        let sample = sample::summer();
        let svg = render(&sample.plan());
        assert!(
            svg.contains("role=\"img\"") && svg.contains("<title id=\"t\">Plan for Willow Cottage")
        );
        assert!(svg.contains("import is cheapest at 14:00 (−6.3 p/kWh)"), "{}", &svg[..900]);
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
    }

    #[test]
    fn the_hour_that_comes_twice_is_twice_on_the_axis() {
        let svg = render(&sample::autumn().plan());
        assert!(svg.contains(">Sun 29 Oct · 25 h<"));
        // Three-hourly labels from 00:00 on the 29th to 21:00 on the 30th.
        assert_eq!(svg.matches(">03:00<").count(), 2);
        assert_eq!(
            local::hours_in_day(chrono_tz::Europe::Berlin, "2023-10-29".parse().expect("a date")),
            Some(25)
        );
    }
}
