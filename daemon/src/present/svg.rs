//! A small writer of SVG.

use std::fmt::Write as _;

/// An SVG document that grows element by element. Coordinates are in pixels
/// with one decimal.
pub(crate) struct Svg(String);

/// Where a text stands relative to its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

impl Svg {
    /// A document of a size, with a title and a description for those who
    /// cannot see it.
    pub(crate) fn new(width: f64, height: f64, title: &str, desc: &str) -> Self {
        let mut svg = Self(String::new());
        svg.put(format_args!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
             width=\"{width}\" height=\"{height}\" role=\"img\" aria-labelledby=\"t d\">"
        ));
        svg.put(format_args!("<title id=\"t\">{}</title>", escaped(title)));
        svg.put(format_args!("<desc id=\"d\">{}</desc>", escaped(desc)));
        svg
    }

    /// A picture within a page, where its name tells it from others.
    pub(crate) fn figure(id: &str, (width, height): (f64, f64), title: &str, desc: &str) -> Self {
        let mut svg = Self(String::new());
        let [width, height] = [width, height].map(number);
        svg.put(format_args!(
            "<svg viewBox=\"0 0 {width} {height}\" role=\"img\" \
             aria-labelledby=\"{id}-t {id}-d\">"
        ));
        svg.put(format_args!("<title id=\"{id}-t\">{}</title>", escaped(title)));
        svg.put(format_args!("<desc id=\"{id}-d\">{}</desc>", escaped(desc)));
        svg
    }

    /// Markup that is part of this program.
    pub(crate) fn raw(&mut self, markup: &str) {
        self.put(format_args!("{}", markup.trim_end()));
    }

    pub(crate) fn open(&mut self, attributes: &str) {
        self.put(format_args!("<g {attributes}>"));
    }

    pub(crate) fn close(&mut self) {
        self.raw("</g>");
    }

    pub(crate) fn line(&mut self, class: &str, (x1, y1): (f64, f64), (x2, y2): (f64, f64)) {
        let [x1, y1, x2, y2] = [x1, y1, x2, y2].map(number);
        self.put(format_args!(
            "<line class=\"{class}\" x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\"/>"
        ));
    }

    pub(crate) fn rect(&mut self, class: &str, (x, y): (f64, f64), width: f64, height: f64) {
        let [x, y, width, height] = [x, y, width, height].map(number);
        self.put(format_args!(
            "<rect class=\"{class}\" x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\"/>"
        ));
    }

    /// A rectangle filled with a pattern of the page.
    pub(crate) fn filled(
        &mut self,
        class: &str,
        pattern: &str,
        (x, y): (f64, f64),
        width: f64,
        height: f64,
    ) {
        let [x, y, width, height] = [x, y, width, height].map(number);
        self.put(format_args!(
            "<rect class=\"{class}\" fill=\"url(#{pattern})\" x=\"{x}\" y=\"{y}\" \
             width=\"{width}\" height=\"{height}\"/>"
        ));
    }

    pub(crate) fn circle(&mut self, class: &str, (x, y): (f64, f64), radius: f64) {
        let [x, y, radius] = [x, y, radius].map(number);
        self.put(format_args!("<circle class=\"{class}\" cx=\"{x}\" cy=\"{y}\" r=\"{radius}\"/>"));
    }

    pub(crate) fn text(&mut self, class: &str, anchor: Anchor, (x, y): (f64, f64), text: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let [x, y] = [x, y].map(number);
        self.put(format_args!(
            "<text class=\"{class}\" x=\"{x}\" y=\"{y}\"{anchor}>{}</text>",
            escaped(text)
        ));
    }

    /// A line through points; closed to a shape if asked.
    pub(crate) fn path(&mut self, class: &str, points: &[(f64, f64)], closed: bool) {
        let mut d = String::new();
        for (step, &(x, y)) in points.iter().enumerate() {
            d.push_str(if step == 0 { "M" } else { "L" });
            write!(d, "{} {}", number(x), number(y)).expect("a string takes everything");
        }
        if closed {
            d.push('Z');
        }
        self.put(format_args!("<path class=\"{class}\" d=\"{d}\"/>"));
    }

    pub(crate) fn finish(mut self) -> String {
        self.raw("</svg>");
        self.0
    }

    fn put(&mut self, line: std::fmt::Arguments<'_>) {
        writeln!(self.0, "{line}").expect("a string takes everything");
    }
}

/// One decimal at most, never `-0`.
fn number(value: f64) -> String {
    super::digits::rounded(value, 1).to_string()
}

/// Text as XML 1.0 takes it; characters that XML has no place for are left out.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => {}
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_break_out_of_the_document() {
        let mut svg = Svg::new(10.0, 10.0, "<&\">", "a\u{0}b");
        svg.text("x", Anchor::End, (1.0, -0.01), "</text><script>");
        let text = svg.finish();
        assert!(text.contains("<title id=\"t\">&lt;&amp;&quot;&gt;</title>"), "{text}");
        assert!(text.contains("<desc id=\"d\">ab</desc>"), "{text}");
        assert!(
            text.contains("y=\"0\" text-anchor=\"end\">&lt;/text&gt;&lt;script&gt;<"),
            "{text}"
        );
    }
}
