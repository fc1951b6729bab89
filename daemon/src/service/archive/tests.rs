use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use super::*;
use crate::service::seed::Dice;

/// A folder that goes when the test ends.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("stowheat-{name}-{}", std::process::id()));
        fs::create_dir_all(&path).expect("a folder");
        Self(path)
    }

    fn file(&self) -> PathBuf {
        self.0.join("archive.sqlite")
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn at(seconds: i64) -> Instant {
    Instant::from_unix(1_750_000_000 + seconds)
}

fn slot(start: i64, end: i64) -> Slot {
    Slot::new(at(start), at(end)).expect("a slot")
}

fn open(path: &Path) -> Archive {
    let (archive, notice) = Archive::open(path, at(0)).expect("an archive");
    assert_eq!(notice, None);
    archive
}

fn reading(seconds: i64, value: f64) -> Record {
    Record::Reading { input: "top".into(), at: at(seconds), value }
}

fn learned(name: &str, json: &str) -> Record {
    Record::Learned(Learned { name: name.into(), version: 1, json: json.into(), at: at(0) })
}

fn command(id: &str, outcome: &str, ends: Option<i64>) -> Record {
    let json = format!("{{\"id\":\"{id}\"}}");
    let (id, outcome) = (id.into(), outcome.into());
    Record::Command { at: at(0), id, json, outcome, ends: ends.map(at) }
}

#[test]
fn what_is_written_is_found_after_a_restart() {
    let folder = Folder::new("restart");
    let run = Run {
        store: "cylinder".into(),
        heater: "upper".into(),
        slot: slot(0, 1_800),
        energy_kwh: 1.5,
        measured: true,
        why: "cheapest".into(),
    };
    let price = Price {
        quantity: "price".into(),
        slot: slot(0, 1_800),
        value: -2.5,
        unit: "p/kWh".into(),
        issued_at: at(-60),
    };
    let hygiene = Record::Hygiene {
        store: "cylinder".into(),
        proven_at: at(7_200),
        coldest_c: 60.4,
        hold_minutes: 61.0,
    };
    open(&folder.file())
        .write(&[
            reading(0, 50.0),
            reading(60, 50.5),
            reading(60, 50.5),
            Record::Price(price.clone()),
            Record::Plan { issued_at: at(0), json: "{}".into() },
            Record::Run(run.clone()),
            hygiene,
            learned("loss", "1"),
            learned("loss", "2"),
        ])
        .expect("written");
    let archive = open(&folder.file());
    assert_eq!(
        archive.readings("top", slot(0, 61)).expect("read"),
        [(at(0), 50.0), (at(60), 50.5)]
    );
    assert_eq!(archive.readings("top", slot(0, 60)).expect("read").len(), 1);
    assert_eq!(archive.prices("price", slot(1_799, 3_600)).expect("read"), [price]);
    assert_eq!(archive.last_plan().expect("read"), Some((at(0), "{}".into())));
    assert_eq!(archive.runs(slot(0, 10)).expect("read"), [run]);
    assert_eq!(archive.last_hygiene("cylinder").expect("read"), Some(at(7_200)));
    assert_eq!(archive.last_hygiene("pool").expect("read"), None);
    assert_eq!(archive.learned("loss", 1).expect("read"), Some("2".into()));
    assert_eq!(archive.learned("loss", 2).expect("read"), None, "another method");
}

// C43: what was asked for by hand outlives a restart, unless it is over.
#[test]
fn open_commands_are_those_done_and_not_over() {
    let folder = Folder::new("commands");
    let mut archive = open(&folder.file());
    archive
        .write(&[
            command("over", "done", Some(10)),
            command("open", "done", Some(1_000)),
            command("no", "refused", Some(1_000)),
            command("ended", "done", Some(1_000)),
            command("ended", "ended", None),
            command("resume", "done", None),
        ])
        .expect("written");
    let open = archive.open_commands(at(10)).expect("read");
    assert_eq!(open, [(at(0), r#"{"id":"open"}"#.into()), (at(0), r#"{"id":"resume"}"#.into())]);
}

// Failure case 15.
#[test]
fn a_second_service_is_refused_and_a_left_over_lock_is_not() {
    let folder = Folder::new("lock");
    let first = open(&folder.file());
    let error = Archive::open(&folder.file(), at(0)).expect_err("locked");
    assert!(matches!(error, ArchiveError::Locked(_)));
    assert!(error.to_string().contains("another stowheat runs"), "{error}");
    drop(first);
    drop(open(&folder.file()));
}

// Failure case 39.
#[test]
fn a_damaged_or_newer_file_is_set_aside() {
    let folder = Folder::new("damaged");
    let path = folder.file();
    let mut archive = open(&path);
    let many: Vec<_> = (0..2_000).map(|i| reading(i, 50.0)).collect();
    archive.write(&many).expect("written");
    drop(archive);
    let mut bytes = fs::read(&path).expect("a file");
    let middle = bytes.len() / 2;
    bytes[middle - 3_000..middle].fill(0xa5);
    fs::write(&path, &bytes).expect("written");
    let (archive, notice) = Archive::open(&path, at(0)).expect("a new archive");
    let Some(Notice::SetAside { kept_as, .. }) = notice else { panic!("{notice:?}") };
    assert_eq!(fs::read(kept_as).expect("kept"), bytes);
    assert_eq!(archive.readings("top", slot(0, 99_999)).expect("read"), []);
    drop(archive);

    let connection = Connection::open(&path).expect("a file");
    connection.pragma_update(None, "user_version", 99).expect("written");
    drop(connection);
    let (_, notice) = Archive::open(&path, at(1)).expect("a new archive");
    let Some(Notice::SetAside { cause, .. }) = notice else { panic!("{notice:?}") };
    assert!(cause.contains("version 99 is newer"), "{cause}");

    fs::write(&path, b"not a database at all, but long enough to be looked at").expect("written");
    for ending in ["-wal", "-shm"] {
        let _ = fs::remove_file(format!("{}{ending}", path.display()));
    }
    assert!(Archive::open(&path, at(2)).expect("a new archive").1.is_some());
}

#[test]
fn an_older_file_is_brought_up_to_date() {
    let folder = Folder::new("older");
    let mut archive = open(&folder.file());
    archive.write(&[reading(0, 50.0)]).expect("written");
    archive
        .connection
        .execute_batch(
            "DROP TABLE learned; ALTER TABLE runs DROP COLUMN measured; PRAGMA user_version = 1",
        )
        .expect("undone");
    drop(archive);
    let mut archive = open(&folder.file());
    archive.write(&[learned("loss", "1")]).expect("written");
    assert_eq!(archive.readings("top", slot(0, 1)).expect("read").len(), 1);
}

// Failure case 12.
#[test]
fn a_full_disk_is_an_error_that_leaves_what_was_there() {
    let folder = Folder::new("full");
    let mut archive = open(&folder.file());
    archive.write(&[reading(0, 50.0)]).expect("written");
    archive.connection.pragma_update(None, "max_page_count", 20).expect("set");
    let many: Vec<_> = (1..50_000).map(|i| reading(i, 50.0)).collect();
    assert!(matches!(archive.write(&many), Err(ArchiveError::Full)));
    assert_eq!(archive.readings("top", slot(0, 99_999)).expect("read").len(), 1);
    archive.write(&[learned("loss", "1")]).expect("small things still fit");
}

// Failure case 12. Root may write to any folder, so the folder is one of a file
// system on which nobody can make files.
#[test]
fn a_place_that_cannot_be_written_is_an_error() {
    let error = Archive::open(Path::new("/proc/self/archive.sqlite"), at(0)).expect_err("no place");
    assert!(matches!(error, ArchiveError::ReadOnly(_)), "{error}");
    let error = Archive::open(Path::new("/nowhere/archive.sqlite"), at(0)).expect_err("no place");
    assert!(matches!(error, ArchiveError::ReadOnly(_)), "{error}");
}

#[test]
fn a_file_that_turns_read_only_is_an_error() {
    let folder = Folder::new("read-only");
    let mut archive = open(&folder.file());
    archive.write(&[reading(0, 50.0)]).expect("written");
    archive.connection.pragma_update(None, "query_only", true).expect("set");
    assert!(matches!(archive.write(&[reading(1, 50.0)]), Err(ArchiveError::ReadOnly(_))));
    assert_eq!(archive.readings("top", slot(0, 99)).expect("read").len(), 1);
}

#[test]
fn pruning_bounds_age_and_size_and_spares_the_proofs() {
    let folder = Folder::new("prune");
    let mut archive = open(&folder.file());
    let mut records: Vec<_> = (0..20_000).map(|i| reading(i * 60, 50.0)).collect();
    records.push(reading(-KEEP_DAYS * 86_400 - 1, 1.0));
    records.push(learned("loss", "1"));
    archive.write(&records).expect("written");
    archive.prune(at(0), MAX_BYTES).expect("pruned");
    let all = Slot::new(Instant::from_unix(0), at(99_999_999)).expect("a slot");
    assert_eq!(archive.readings("top", all).expect("read").len(), 20_000);
    let limit = archive.used_bytes().expect("a size") / 2;
    archive.prune(at(0), limit).expect("pruned");
    assert!(archive.used_bytes().expect("a size") <= limit);
    let left = archive.readings("top", all).expect("read");
    assert_eq!(left.last(), Some(&(at(19_999 * 60), 50.0)), "the newest stay");
    assert!(archive.learned("loss", 1).expect("read").is_some());
}

/// Not a test of its own: the process that is killed by the next one.
#[test]
#[expect(clippy::print_stderr, reason = "the other process counts these lines")]
fn writer_to_be_killed() {
    let Some(path) = std::env::var_os("STOWHEAT_TEST_ARCHIVE") else { return };
    let mut archive = open(Path::new(&path));
    let first = archive.last_plan().expect("read").map_or(0, |(at, _)| at.unix());
    for i in first + 1.. {
        let plan = Record::Plan { issued_at: Instant::from_unix(i), json: "x".repeat(2_000) };
        archive.write(&[plan, learned("count", &i.to_string())]).expect("written");
        eprintln!("kept {i}");
    }
}

// Failure case 11, as far as a process can play a power cut.
#[test]
fn a_kill_at_any_moment_leaves_a_whole_batch() {
    let folder = Folder::new("kill");
    let mut dice = Dice::new(7);
    let mut rounds_with_writes = 0;
    for round in 0..12 {
        let mut child = Command::new(std::env::current_exe().expect("this test"))
            .args(["service::archive::tests::writer_to_be_killed", "--exact", "--nocapture"])
            .env("STOWHEAT_TEST_ARCHIVE", folder.file())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("a child");
        let lines = BufReader::new(child.stderr.take().expect("a pipe")).lines();
        let stop_after = 1 + (dice.share() * 40.0) as usize;
        let mut last = 0_i64;
        let mut seen = 0;
        for line in lines.map_while(Result::ok) {
            if let Some(number) = line.strip_prefix("kept ") {
                last = number.parse().expect("a number");
                seen += 1;
                if seen == stop_after {
                    child.kill().expect("killed");
                }
            }
        }
        child.wait().expect("ended");
        assert!(seen >= stop_after, "round {round}: the writer ended by itself");
        rounds_with_writes += 1;
        let archive = open(&folder.file());
        let plan = archive.last_plan().expect("read").expect("a plan").0.unix();
        let count = archive.learned("count", 1).expect("read").expect("a count");
        assert_eq!(count, plan.to_string(), "both or neither");
        assert!(plan >= last, "what was kept is there");
    }
    assert_eq!(rounds_with_writes, 12);
}
