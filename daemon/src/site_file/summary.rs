//! What a site file was understood to mean, as plain text for an installer.

mod habits;
mod plant;
mod pool_page;
mod safety;
mod sources;
mod spaces;
mod stores;
mod supply;

use std::fmt::Write as _;

pub(crate) use self::plant::{sink_in_words, source_in_words};
pub(super) use self::sources::design_source;
pub(crate) use self::supply::{electric, highest_load};
use super::Checked;

/// Column at which values begin.
const VALUE_COLUMN: usize = 26;

/// The house in words and figures, with the safety cautions at the end.
pub fn summary(checked: &Checked) -> String {
    let mut page = Page(String::new());
    supply::describe(&mut page, checked);
    plant::describe(&mut page, checked);
    stores::describe(&mut page, checked);
    sources::describe(&mut page, checked);
    spaces::describe(&mut page, checked);
    pool_page::describe(&mut page, &checked.house);
    habits::describe(&mut page, &checked.house);
    safety::describe(&mut page, &checked.house);
    page.0
}

/// Text in two columns under headings.
struct Page(String);

impl Page {
    fn heading(&mut self, text: &str) {
        let gap = if self.0.is_empty() { "" } else { "\n" };
        let _ = writeln!(self.0, "{gap}{text}");
    }

    fn line(&mut self, label: &str, value: &str) {
        let width = VALUE_COLUMN - 2;
        let gap = if label.chars().count() < width { "" } else { " " };
        let _ = writeln!(self.0, "  {label:<width$}{gap}{value}");
    }

    fn sentence(&mut self, text: &str) {
        let _ = writeln!(self.0, "  {text}");
    }
}

/// Hours as `2 h 40 min`.
fn duration(hours: f64) -> String {
    let minutes = (hours * 60.0).round() as i64;
    if minutes < 60 {
        format!("{minutes} min")
    } else {
        format!("{} h {:02} min", minutes / 60, minutes % 60)
    }
}
