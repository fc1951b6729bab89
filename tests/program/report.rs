//! The pages that customers keep: they stand alone, every picture has words and
//! numbers, a real browser opens and prints them without a complaint, and an
//! audit of accessibility finds nothing.
#![expect(clippy::print_stdout, reason = "what is skipped is told")]

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::LazyLock;

use serde_json::Value;

use super::size::{WHOLE, study, words};
use super::{DEMO, DEMO_PRICES, DEMO_WEATHER, done, says};

/// Version of axe-core, the audit; from npm.
const AXE: &str = "axe-core@4.14.1";

fn temporary(name: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(name)
}

/// The page of a study and that of a replay.
static PAGES: LazyLock<[PathBuf; 2]> = LazyLock::new(|| {
    let pages = ["page-study.html", "page-replay.html"].map(temporary);
    let [of_study, of_replay] = pages.each_ref().map(|page| page.display().to_string());
    done(&words(&study(&WHOLE.0, &["--merge", "--report", &of_study])));
    done(&[
        "replay",
        DEMO,
        "--prices",
        DEMO_PRICES,
        "--weather",
        DEMO_WEATHER,
        "--from",
        "2026-04-18",
        "--to",
        "2026-04-18",
        "--report",
        &of_replay,
    ]);
    pages
});

fn text(page: &Path) -> String {
    std::fs::read_to_string(page).expect("a page")
}

#[test]
fn pages_stand_alone() {
    for page in PAGES.iter() {
        let text = text(page);
        for foreign in ["<script", "<img", "<link", "src=", "@import", "http://", "https://"] {
            assert!(!text.contains(foreign), "{foreign} in {}", page.display());
        }
        for tag in ["section", "figure", "table", "details", "svg", "g", "p", "ul", "dl"] {
            let (opened, closed) = (format!("<{tag}"), format!("</{tag}>"));
            let opened = text
                .match_indices(&opened)
                .filter(|(at, found)| text[at + found.len()..].starts_with([' ', '>', '\n']));
            assert_eq!(opened.count(), text.matches(&closed).count(), "{tag}");
        }
        assert!(!text.contains("NaN") && !text.contains(">inf"), "{}", page.display());
    }
}

#[test]
fn every_picture_has_words_and_numbers_and_fits_a_sheet() {
    for page in PAGES.iter() {
        let text = text(page);
        let pictures: Vec<&str> = text.split("<figure>").skip(1).collect();
        assert!(pictures.len() >= 4, "{} pictures", pictures.len());
        for picture in pictures {
            let picture = picture.split("</figure>").next().expect("a picture");
            says(picture, &["role=\"img\"", "aria-labelledby=", "<title", "<desc", "<figcaption>"]);
            says(picture, &["<table>", "<caption>", "scope=\"col\"", "scope=\"row\""]);
            let size = picture.split("viewBox=\"0 0 ").nth(1).expect("a size");
            let size = size.split('"').next().expect("a size");
            let (width, height) = size.split_once(' ').expect("two numbers");
            let [width, height] = [width, height].map(|n| n.parse::<f64>().expect("a number"));
            // A4 is 297 mm high; with its margins, figures are 182 mm wide.
            assert!(182.0 * height / width < 215.0, "{width} × {height}");
        }
        for id in text.split(" id=\"").skip(1).filter_map(|rest| rest.split('"').next()) {
            assert_eq!(text.matches(&format!(" id=\"{id}\"")).count(), 1, "{id} stands twice");
        }
    }
}

#[test]
fn pages_say_what_a_customer_must_know() {
    let [of_study, of_replay] = PAGES.each_ref().map(|page| text(page));
    says(
        &of_study,
        &[
            "What to buy",
            "How far this can be wrong",
            "NOT A WHOLE YEAR",
            "One year only",
            "Nearest to earning back its price is immersion",
            "What a little more is worth",
            "main fuse",
            "SHA-256",
            "licensed people",
            "Check one day by hand",
            "Paid = import × buy − export × sell",
        ],
    );
    says(&of_replay, &["What was saved", "NOT A WHOLE YEAR", "the best simple control", "SHA-256"]);
    assert!(of_study.contains(env!("CARGO_PKG_VERSION")));
    // What the page adds up by hand is what the program counted.
    for page in [of_study, of_replay] {
        let sums = page.split("adds up to ").nth(1).expect("the sum by hand");
        let number = |text: &str| text.replace('−', "-").parse::<f64>().expect("a number");
        let by_hand = number(sums.split(';').next().expect("a sum"));
        let own = sums.split("not rounded, is ").nth(1).expect("the program's sum");
        let own = number(own.split(". Prices").next().expect("a sum"));
        assert!((by_hand - own).abs() < 0.5, "{by_hand} by hand, {own} by the program");
    }
}

/// Chromium with a profile of its own, if there is one.
fn browser(profile: &Path, arguments: &[&str]) -> Option<std::process::Output> {
    let profile = profile.with_extension("profile");
    let ran = Command::new("chromium")
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"])
        .arg(format!("--user-data-dir={}", profile.display()))
        .args(arguments)
        .output();
    match ran {
        Ok(output) => Some(output),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            println!("skipped: pages in a real browser, because chromium is absent");
            None
        }
        Err(error) => panic!("chromium: {error}"),
    }
}

#[test]
fn a_browser_opens_and_prints_pages_without_a_complaint() {
    for page in PAGES.iter() {
        let pdf = page.with_extension("pdf");
        let print = format!("--print-to-pdf={}", pdf.display());
        let address = format!("file://{}", page.display());
        let arguments = ["--enable-logging=stderr", "--no-pdf-header-footer", &print, &address];
        let Some(output) = browser(&pdf, &arguments) else { return };
        let messages = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{messages}");
        assert!(!messages.contains("CONSOLE"), "{messages}");
        let printed = std::fs::read(&pdf).expect("a PDF");
        assert!(printed.starts_with(b"%PDF") && printed.len() > 20_000, "{}", printed.len());
    }
}

/// The audit's program, from npm; `None` where it cannot be had.
fn axe() -> Option<String> {
    let folder = temporary("axe");
    let file = folder.join("node_modules/axe-core/axe.min.js");
    if !file.exists() {
        std::fs::create_dir_all(&folder).expect("a folder");
        let arguments = ["install", "--no-save", "--no-audit", "--no-fund", "--silent", AXE];
        let ran = Command::new("npm").args(arguments).arg("--prefix").arg(&folder).output();
        if !ran.is_ok_and(|output| output.status.success()) {
            println!("skipped: the audit of accessibility, because npm cannot fetch {AXE}");
            return None;
        }
    }
    Some(std::fs::read_to_string(file).expect("the audit"))
}

#[test]
fn an_audit_of_accessibility_finds_nothing() {
    let Some(axe) = axe() else { return };
    for page in PAGES.iter() {
        // The page's own policy lets no script run, so a copy goes without it.
        let text = text(page);
        let policy = text.split("<meta http-equiv").nth(1).and_then(|rest| rest.split('>').next());
        let policy = format!("<meta http-equiv{}>", policy.expect("a policy"));
        let audit = format!(
            "<script>{axe}</script>\n<script>document.querySelectorAll('details').forEach(d => d.open = true);\
             axe.run().then(found => {{ document.body.innerHTML = '<pre id=\"found\"></pre>';\
             document.getElementById('found').textContent = JSON.stringify({{\
             passes: found.passes.length, violations: found.violations.map(v => [v.id, v.nodes.map(n => n.html)]) }}); }});</script>\n</body>"
        );
        let copy = page.with_extension("audit.html");
        let text = text.replace(&policy, "").replace("</body>", &audit);
        std::fs::write(&copy, text).expect("a copy");
        let address = format!("file://{}", copy.display());
        let Some(output) = browser(&copy, &["--virtual-time-budget=60000", "--dump-dom", &address])
        else {
            return;
        };
        let dom = String::from_utf8_lossy(&output.stdout);
        let found = dom.split("<pre id=\"found\">").nth(1).unwrap_or_else(|| panic!("{dom}"));
        let found = found.split("</pre>").next().expect("a report");
        let found = found.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&");
        let found: Value = serde_json::from_str(&found).expect("a report");
        assert!(found["passes"].as_u64() > Some(15), "{found}");
        assert_eq!(found["violations"], Value::Array(Vec::new()), "{}", page.display());
    }
}
