//! Names at the right ends of lines and areas, moved apart where they would
//! meet.

use super::{Anchor, Svg};

/// Least distance of two labels [px].
const DISTANCE: f64 = 15.0;

/// Names to be written at heights.
#[derive(Default)]
pub(super) struct Labels(Vec<Label>);

struct Label {
    y: f64,
    mark: Mark,
    text: String,
}

/// The sample before a name.
#[derive(Clone, Copy)]
pub(super) enum Mark {
    /// A stroke of a class.
    Line(&'static str),
    /// A swatch of a class.
    Area(&'static str),
}

impl Labels {
    pub(super) fn add(&mut self, y: f64, mark: Mark, text: String) {
        self.0.push(Label { y, mark, text });
    }

    /// Writes the labels between two heights, right of `x`.
    pub(super) fn write(mut self, svg: &mut Svg, x: f64, (top, bottom): (f64, f64)) {
        self.0.sort_by(|a, b| a.y.total_cmp(&b.y));
        let wanted: Vec<f64> = self.0.iter().map(|label| label.y).collect();
        for (label, y) in self.0.iter().zip(apart(&wanted, top + 4.0, bottom - 4.0)) {
            match label.mark {
                Mark::Line(class) => svg.line(class, (x + 8.0, y), (x + 32.0, y)),
                Mark::Area(class) => svg.rect(class, (x + 12.0, y - 5.0), 18.0, 10.0),
            }
            svg.text("label", Anchor::Start, (x + 38.0, y + 4.0), &label.text);
        }
    }
}

/// Rising heights moved apart, downwards first and then up from the bottom.
fn apart(wanted: &[f64], top: f64, bottom: f64) -> Vec<f64> {
    let mut heights = Vec::with_capacity(wanted.len());
    let mut free = top;
    for &y in wanted {
        heights.push(y.max(free));
        free = y.max(free) + DISTANCE;
    }
    let mut limit = bottom;
    for y in heights.iter_mut().rev() {
        *y = y.min(limit);
        limit = *y - DISTANCE;
    }
    heights
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_never_meet() {
        let heights = apart(&[10.0, 11.0, 12.0, 90.0], 0.0, 92.0);
        assert!(heights.windows(2).all(|pair| pair[1] - pair[0] >= DISTANCE - 1e-9), "{heights:?}");
        let crowded = apart(&[88.0, 89.0, 90.0], 0.0, 92.0);
        assert!(crowded.windows(2).all(|pair| pair[1] - pair[0] >= DISTANCE - 1e-9), "{crowded:?}");
        assert!(crowded.iter().all(|&y| y <= 92.0));
    }
}
