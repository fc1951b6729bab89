//! Parts of a page as HTML.

use std::fmt::Write as _;

use crate::present::svg;

/// Text as HTML takes it; a number keeps its unit on its line.
pub(super) fn escaped(text: &str) -> String {
    let units = [" %", " kW", " °C", " L", " years", " half-hours"];
    units.into_iter().fold(svg::escaped(text), |text, unit| {
        let mut parts = text.split(unit);
        let first = parts.next().unwrap_or_default().to_owned();
        parts.fold(first, |before, behind| {
            let counts = before.ends_with(|last: char| last.is_ascii_digit());
            let space = if counts { '\u{a0}' } else { ' ' };
            format!("{before}{space}{}{behind}", unit.trim_start())
        })
    })
}

/// A table with one head row; the first cell of each row names it.
#[derive(Debug, Clone, Default)]
pub(super) struct Table {
    caption: String,
    heads: Vec<String>,
    rows: Vec<Vec<String>>,
    /// Columns of words, which stand left.
    words: Vec<usize>,
    /// Rows that stand out.
    marked: Vec<usize>,
}

impl Table {
    pub(super) fn new(caption: &str, heads: &[&str]) -> Self {
        Self {
            caption: caption.to_owned(),
            heads: heads.iter().map(|&head| head.to_owned()).collect(),
            ..Self::default()
        }
    }

    /// Columns whose cells are words.
    pub(super) fn words(mut self, columns: &[usize]) -> Self {
        self.words = columns.to_vec();
        self
    }

    pub(super) fn head(&mut self, head: &str) {
        self.heads.push(head.to_owned());
    }

    pub(super) fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells);
    }

    /// The last row stands out.
    pub(super) fn mark(&mut self) {
        self.marked.push(self.rows.len().saturating_sub(1));
    }

    pub(super) fn html(&self) -> String {
        let mut out = String::from("<div class=\"wide\" tabindex=\"0\" role=\"group\"");
        put(&mut out, format_args!(" aria-label=\"{}\">\n<table>", escaped(&self.caption)));
        put(&mut out, format_args!("<caption>{}</caption>\n<thead><tr>", escaped(&self.caption)));
        let of_words = |column: usize| column == 0 || self.words.contains(&column);
        let class = |column: usize| if of_words(column) { " class=\"words\"" } else { "" };
        for (column, head) in self.heads.iter().enumerate() {
            let (class, head) = (class(column), escaped(head));
            put(&mut out, format_args!("<th scope=\"col\"{class}>{head}</th>"));
        }
        out.push_str("</tr></thead>\n<tbody>\n");
        for (index, row) in self.rows.iter().enumerate() {
            let marked = if self.marked.contains(&index) { " class=\"marked\"" } else { "" };
            put(&mut out, format_args!("<tr{marked}>"));
            for (column, cell) in row.iter().enumerate() {
                // A number and its unit stay on one line.
                let class = match class(column) {
                    "" if cell.matches(' ').count() < 2 => " class=\"n\"",
                    class => class,
                };
                let tag = if column == 0 { "th scope=\"row\"" } else { "td" };
                let end = &tag[..2];
                put(&mut out, format_args!("<{tag}{class}>{}</{end}>", escaped(cell)));
            }
            out.push_str("</tr>\n");
        }
        out.push_str("</tbody></table></div>\n");
        out
    }
}

/// A picture with its finding in words and its numbers.
#[derive(Debug, Clone)]
pub(super) struct Figure {
    /// What it shows.
    pub(super) title: String,
    /// What is to be seen in it.
    pub(super) finding: String,
    /// The picture.
    pub(super) svg: String,
    /// Its numbers.
    pub(super) numbers: Table,
}

impl Figure {
    pub(super) fn html(&self) -> String {
        format!(
            "<figure>\n{}<figcaption><strong>{}.</strong> {}</figcaption>\n\
             <details><summary>The numbers of this picture: {}</summary>\n{}</details>\n</figure>\n",
            self.svg,
            escaped(&self.title),
            escaped(&self.finding),
            escaped(&self.title),
            self.numbers.html()
        )
    }
}

/// A section with a heading, reached by an anchor.
#[derive(Debug, Clone)]
pub(super) struct Section {
    pub(super) id: &'static str,
    pub(super) heading: &'static str,
    pub(super) body: String,
}

impl Section {
    pub(super) fn new(id: &'static str, heading: &'static str, body: String) -> Self {
        Self { id, heading, body }
    }
}

/// A paragraph.
pub(super) fn paragraph(text: &str) -> String {
    format!("<p>{}</p>\n", escaped(text))
}

/// A list without order.
pub(super) fn list(items: &[String]) -> String {
    let mut out = String::from("<ul>\n");
    for item in items {
        put(&mut out, format_args!("<li>{}</li>\n", escaped(item)));
    }
    out.push_str("</ul>\n");
    out
}

/// The whole page.
pub(super) fn page(title: &str, under: &str, sections: &[Section]) -> String {
    let mut out = String::new();
    let title = escaped(title);
    put(
        &mut out,
        format_args!(
            "<!DOCTYPE html>\n<html lang=\"en-GB\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n\
             <title>{title}</title>\n<style>\n{}</style>\n</head>\n<body>\n{}\
             <header>\n<h1>{title}</h1>\n<p class=\"under\">{}</p>\n</header>\n",
            include_str!("style.css"),
            include_str!("hatches.svg"),
            escaped(under)
        ),
    );
    out.push_str("<nav aria-label=\"Sections\"><ol>\n");
    for section in sections {
        let (id, heading) = (section.id, escaped(section.heading));
        put(&mut out, format_args!("<li><a href=\"#{id}\">{heading}</a></li>\n"));
    }
    out.push_str("</ol></nav>\n<main>\n");
    for section in sections {
        put(
            &mut out,
            format_args!(
                "<section aria-labelledby=\"{0}\">\n<h2 id=\"{0}\">{1}</h2>\n{2}</section>\n",
                section.id,
                escaped(section.heading),
                section.body
            ),
        );
    }
    out.push_str("</main>\n</body>\n</html>\n");
    out
}

/// Writes to the end of a text.
pub(super) fn put(out: &mut String, text: std::fmt::Arguments<'_>) {
    out.write_fmt(text).expect("a string takes everything");
}
