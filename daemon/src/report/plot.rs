//! What the pictures of a page share.

use crate::present::Currency;
use crate::present::scale::Scale;
use crate::present::svg::{Anchor, Svg};

/// Width of every picture [px].
pub(super) const WIDTH: f64 = 760.0;

/// Kinds of lines and hatches by which worlds are told apart.
const KINDS: usize = 4;

/// A plot within a picture.
#[derive(Debug, Clone)]
pub(super) struct Plot {
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) top: f64,
    pub(super) bottom: f64,
    pub(super) scale: Scale,
}

impl Plot {
    /// Height of a value in a plot whose scale goes up.
    pub(super) fn y(&self, value: f64) -> f64 {
        self.bottom - self.scale.share(value) * (self.bottom - self.top)
    }

    /// Place of a value in a plot whose scale goes across.
    pub(super) fn x(&self, value: f64) -> f64 {
        self.left + self.scale.share(value) * (self.right - self.left)
    }

    /// Place of a share of the way across.
    pub(super) fn across(&self, share: f64) -> f64 {
        self.left + share * (self.right - self.left)
    }

    /// Rules across at the marks of a scale that goes up.
    pub(super) fn rules(&self, svg: &mut Svg, number: impl Fn(f64) -> String) {
        for &mark in self.scale.marks() {
            let y = self.y(mark);
            svg.line(rule(mark), (self.left, y), (self.right, y));
            svg.text("tick", Anchor::End, (self.left - 6.0, y + 4.0), &number(mark));
        }
    }

    /// Rules down at the marks of a scale that goes across.
    pub(super) fn columns(&self, svg: &mut Svg, number: impl Fn(f64) -> String) {
        for &mark in self.scale.marks() {
            let x = self.x(mark);
            svg.line(rule(mark), (x, self.top), (x, self.bottom));
            svg.text("tick", Anchor::Middle, (x, self.bottom + 14.0), &number(mark));
        }
    }
}

/// Marks of a scale as money: whole amounts where they differ.
pub(super) fn money_marks(scale: &Scale, money: &Currency) -> impl Fn(f64) -> String {
    let money = money.clone();
    let whole = scale.marks().windows(2).all(|pair| money.whole(pair[0]) != money.whole(pair[1]));
    move |value| if whole { money.whole(value) } else { money.amount(value) }
}

fn rule(mark: f64) -> &'static str {
    if mark.abs() < 1e-9 { "zero" } else { "rule" }
}

/// An area filled with a hatch of the page.
pub(super) fn area(svg: &mut Svg, hatch: &str, (x, y): (f64, f64), width: f64, height: f64) {
    svg.filled("area", &format!("f-{hatch}"), (x, y), width, height);
}

/// Hatch of a world by its number.
pub(super) fn hatch(world: usize) -> String {
    format!("w{}", world % KINDS)
}

/// Line of a world by its number.
pub(super) fn dash(world: usize) -> &'static str {
    ["w0", "w1", "w2", "w3"][world % KINDS]
}

/// Samples of hatches with their names, from a point on, in rows that fit;
/// the height that they took.
pub(super) fn legend(svg: &mut Svg, names: &[(String, String)], (left, top): (f64, f64)) -> f64 {
    let (mut x, mut y) = (left, top);
    for (hatch, name) in names {
        let width = 30.0 + 6.6 * name.chars().count() as f64;
        if x > left && x + width > WIDTH {
            x = left;
            y += 18.0;
        }
        area(svg, hatch, (x, y), 16.0, 11.0);
        svg.text("label", Anchor::Start, (x + 21.0, y + 10.0), name);
        x += width + 14.0;
    }
    y + 18.0 - top
}

/// The least and the most of some values and zero.
pub(super) fn with_zero(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((0.0, 0.0), |(low, high), value| (f64::min(low, value), f64::max(high, value)))
}
