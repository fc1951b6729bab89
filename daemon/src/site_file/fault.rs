//! Problems in a site file, shown with the line they stand on.

use std::fmt::{self, Write as _};
use std::ops::Range;

/// How much a problem weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// The file cannot be used.
    Error,
    /// The file can be used, but somebody should look.
    Warning,
}

/// One problem, with the text at fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Error or warning.
    pub severity: Severity,
    /// Name of the file.
    pub file: String,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// The text at fault, up to the end of its line.
    pub text: String,
    /// The whole line.
    pub source_line: String,
    /// Where in the tables, such as `store[0].ceiling_celsius`.
    pub path: String,
    /// The rule that is broken, with the values.
    pub message: String,
    /// What would mend it.
    pub suggestion: Option<String>,
}

/// Every problem of a site file that cannot be used, in the order of its lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Report {
    /// The problems; never empty.
    pub faults: Vec<Fault>,
}

impl std::error::Error for Report {}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.rendered(false))
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.rendered(false))
    }
}

impl Report {
    /// All problems as text and their number; with colour codes if asked, which
    /// only suits a terminal where `NO_COLOR` is not set.
    pub fn rendered(&self, colour: bool) -> String {
        let mut text = String::new();
        for fault in &self.faults {
            text += &fault.rendered(colour);
            text.push('\n');
        }
        let (number, noun) =
            (self.faults.len(), if self.faults.len() == 1 { "problem" } else { "problems" });
        let file = self.faults.first().map_or("the site file", |fault| fault.file.as_str());
        let _ = writeln!(text, "{number} {noun} in {file}");
        text
    }
}

impl Fault {
    /// The problem as text, with colour codes if asked.
    pub fn rendered(&self, colour: bool) -> String {
        let (word, code) = match self.severity {
            Severity::Error => ("error", "31"),
            Severity::Warning => ("warning", "33"),
        };
        let paint = |text: &str, code: &str| {
            if colour { format!("\x1b[1;{code}m{text}\x1b[0m") } else { text.to_owned() }
        };
        let number = self.line.to_string();
        let gutter = " ".repeat(number.len());
        // Tabs stay tabs, so that the carets stand under the text in any editor.
        let lead: String = self
            .source_line
            .chars()
            .take(self.column - 1)
            .map(|c| if c == '\t' { '\t' } else { ' ' })
            .collect();
        let carets = paint(&"^".repeat(self.text.chars().count().max(1)), code);
        let place = if self.path.is_empty() { String::new() } else { format!(" ({})", self.path) };
        let mut text = format!(
            "{}: {}\n{gutter}--> {}:{}:{}{place}\n{gutter} |\n{number} | {}\n{gutter} | {lead}{carets}\n",
            paint(word, code),
            self.message,
            self.file,
            self.line,
            self.column,
            self.source_line,
        );
        if let Some(suggestion) = &self.suggestion {
            let _ = writeln!(text, "{gutter} = {suggestion}");
        }
        text
    }
}

/// Collects the problems of one file.
pub(super) struct Faults<'s> {
    text: &'s str,
    file: &'s str,
    found: Vec<(usize, Fault)>,
}

impl<'s> Faults<'s> {
    pub(super) fn new(text: &'s str, file: &'s str) -> Self {
        Self { text, file, found: Vec::new() }
    }

    pub(super) fn error(
        &mut self,
        span: Range<usize>,
        path: &str,
        message: String,
        suggestion: Option<String>,
    ) {
        self.add(Severity::Error, span, path, message, suggestion);
    }

    pub(super) fn warning(
        &mut self,
        span: Range<usize>,
        path: &str,
        message: String,
        suggestion: Option<String>,
    ) {
        self.add(Severity::Warning, span, path, message, suggestion);
    }

    /// Paths of all problems so far.
    pub(super) fn paths(&self) -> Vec<String> {
        self.found.iter().map(|(_, fault)| fault.path.clone()).collect()
    }

    pub(super) fn any_error(&self) -> bool {
        self.found.iter().any(|(_, fault)| fault.severity == Severity::Error)
    }

    /// The problems of one severity in the order of the file.
    pub(super) fn sorted(mut self, severity: Severity) -> Vec<Fault> {
        self.found.sort_by_key(|(start, _)| *start);
        self.found.into_iter().map(|(_, f)| f).filter(|f| f.severity == severity).collect()
    }

    fn add(
        &mut self,
        severity: Severity,
        span: Range<usize>,
        path: &str,
        message: String,
        suggestion: Option<String>,
    ) {
        let start = self.boundary(span.start);
        let end = self.boundary(span.end.max(start));
        let line_start = self.text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = self.text[start..].find('\n').map_or(self.text.len(), |at| start + at);
        let fault = Fault {
            severity,
            file: self.file.to_owned(),
            line: self.text[..start].matches('\n').count() + 1,
            column: self.text[line_start..start].chars().count() + 1,
            text: self.text[start..end.min(line_end)].trim_end().to_owned(),
            source_line: self.text[line_start..line_end].trim_end().to_owned(),
            path: path.to_owned(),
            message,
            suggestion,
        };
        self.found.push((start, fault));
    }

    /// The nearest character boundary at or before an offset.
    fn boundary(&self, offset: usize) -> usize {
        let offset = offset.min(self.text.len());
        (0..=offset).rev().find(|&at| self.text.is_char_boundary(at)).unwrap_or(0)
    }
}

/// The candidate most like a word, if one is like it at all.
pub(super) fn nearest<'c>(
    word: &str,
    candidates: impl IntoIterator<Item = &'c str>,
) -> Option<&'c str> {
    candidates
        .into_iter()
        .map(|candidate| (strsim::jaro_winkler(word, candidate), candidate))
        .filter(|(likeness, _)| *likeness > 0.8)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(text: &str, span: Range<usize>) -> Fault {
        let mut faults = Faults::new(text, "house.toml");
        faults.error(span, "grid", "it is wrong".to_owned(), Some("mend it".to_owned()));
        faults.sorted(Severity::Error).remove(0)
    }

    #[test]
    fn a_fault_shows_its_line_with_carets() {
        let text = "[grid]\nname = \"é\" # x\nfuse = 12\n";
        let start = text.find("12").expect("it is there");
        let fault = one(text, start..start + 2);
        assert_eq!(
            fault.to_string(),
            "error: it is wrong\n --> house.toml:3:8 (grid)\n  |\n3 | fuse = 12\n  |        ^^\n  = mend it\n"
        );
    }

    #[test]
    fn columns_count_characters_and_spans_end_with_their_line() {
        let text = "name = \"é\", x = [\n1]";
        let start = text.find('[').expect("it is there");
        let fault = one(text, start..text.len());
        assert_eq!((fault.line, fault.column, fault.text.as_str()), (1, 17, "["));
        let at_end = one("a = ", 4..9);
        assert_eq!((at_end.line, at_end.column), (1, 5));
    }

    #[test]
    fn colour_only_when_asked() {
        let fault = one("a = 1", 4..5);
        assert!(!fault.to_string().contains('\x1b'));
        assert!(fault.rendered(true).contains("\x1b[1;31merror"));
    }

    #[test]
    fn only_a_likely_word_is_offered() {
        assert_eq!(nearest("volumee_litres", ["volume_litres", "name"]), Some("volume_litres"));
        assert_eq!(nearest("zzz", ["volume_litres", "name"]), None);
    }
}
