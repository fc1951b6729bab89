//! The power is cut while the archive writes.
//!
//! SQLite appends a transaction to the write-ahead log and flushes it; now and then
//! it flushes the log, copies its pages into the main file in any order, flushes
//! that, and begins the log anew (sqlite.org/wal.html, sqlite.org/fileformat2.html
//! section 4). Both files are recorded after each transaction, and a cut is made of
//! what may be on the disk between two of them: a part of the log, its end torn or
//! never written, and any mixture of old and new pages.

use std::path::{Path, PathBuf};

use optimiser::time::Instant;
use stowheat::service::archive::{Archive, Record};
use stowheat::service::seed::Dice;

/// Cuts in all; failure case 11 asks for a thousand.
const CUTS: usize = 1_000;

/// Bytes of a page of the main file.
const PAGE: usize = 4_096;

const START: i64 = 1_768_471_200;

/// The files of the archive.
#[derive(Clone)]
struct Disk {
    main: Vec<u8>,
    log: Vec<u8>,
}

impl Disk {
    fn read(path: &Path) -> Self {
        let read = |path: PathBuf| std::fs::read(path).unwrap_or_default();
        Self { main: read(path.to_owned()), log: read(log_of(path)) }
    }

    fn write(&self, path: &Path) {
        std::fs::write(path, &self.main).expect("the folder is writable");
        std::fs::write(log_of(path), &self.log).expect("the folder is writable");
    }

    /// What may be found after a cut on the way to another state, and whether the
    /// transaction on the way must be there.
    fn cut(&self, to: &Self, dice: &mut Dice) -> (Self, bool) {
        let share = |dice: &mut Dice, length: usize| (dice.share() * (length + 1) as f64) as usize;
        if self.main != to.main {
            // The log was flushed before the first page was copied.
            let main = pages(&self.main, &to.main, dice);
            return (Self { main, log: to.log.clone() }, true);
        }
        if to.log.starts_with(&self.log) {
            let mut log =
                to.log[..self.log.len() + share(dice, to.log.len() - self.log.len())].to_vec();
            let torn = to.log.len() - log.len();
            match dice.roll() % 3 {
                0 => {}
                1 => log.resize(to.log.len(), 0),
                _ => log.extend((0..torn).map(|_| dice.roll() as u8)),
            }
            return (Self { main: self.main.clone(), log }, torn == 0);
        }
        // The log began anew: its head is new, and the rest of before.
        let length = share(dice, to.log.len());
        let mut log = to.log.clone();
        let old = self.log.len().min(to.log.len());
        if length < old {
            log[length..old].copy_from_slice(&self.log[length..old]);
        }
        (Self { main: self.main.clone(), log }, false)
    }
}

/// Each page of one file or the other.
fn pages(old: &[u8], new: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut mixed = new.to_vec();
    for start in (0..new.len()).step_by(PAGE) {
        let end = (start + PAGE).min(new.len());
        if dice.roll().is_multiple_of(2) {
            match old.get(start..end) {
                Some(page) => mixed[start..end].copy_from_slice(page),
                None => mixed[start..end].fill(0),
            }
        }
    }
    mixed
}

fn log_of(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push("-wal");
    name.into()
}

/// A plan of 30 kB and a few readings, all of one number.
fn transaction(number: i64) -> Vec<Record> {
    let at = Instant::from_unix(START + number);
    let json = format!("{{\"number\":{number},\"filling\":\"{}\"}}", "x".repeat(30_000));
    let reading = |i: i64| Record::Reading { input: format!("probe {i}"), at, value: 45.0 };
    let mut records: Vec<Record> = (0..4).map(reading).collect();
    records.push(Record::Plan { issued_at: at, json });
    records
}

// Failure case 11.
#[test]
fn after_a_power_cut_the_archive_is_the_old_or_the_new() {
    let folder = std::env::temp_dir().join(format!("stowheat-cuts-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    let (path, cut_path) = (folder.join("whole.sqlite"), folder.join("cut.sqlite"));
    let now = Instant::from_unix(START);
    let (mut archive, _) = Archive::open(&path, now).expect("an archive");
    let mut dice = Dice::new(11);
    archive.write(&transaction(0)).expect("written");
    let mut before = Disk::read(&path);
    let (mut made, mut kinds) = (0, [0; 3]);
    let mut number = 0;
    while made < CUTS {
        number += 1;
        archive.write(&transaction(number)).expect("written");
        let after = Disk::read(&path);
        let kind = if before.main == after.main {
            1 + usize::from(!after.log.starts_with(&before.log))
        } else {
            0
        };
        // What happens seldom is cut more often.
        for _ in 0..[40, 2, 40][kind] {
            let (disk, must_be_there) = before.cut(&after, &mut dice);
            disk.write(&cut_path);
            let (cut, notice) = Archive::open(&cut_path, now).expect("it opens");
            assert_eq!(notice, None, "cut {made}: given up");
            let (issued_at, json) = cut.last_plan().expect("readable").expect("a plan");
            let found = issued_at.unix() - START;
            let least = if must_be_there { number } else { number - 1 };
            assert!(
                (least..=number).contains(&found),
                "cut {made}: {found} of {least} to {number}"
            );
            assert!(json.starts_with(&format!("{{\"number\":{found},")) && json.len() > 30_000);
            drop(cut);
            made += 1;
            kinds[kind] += 1;
        }
        before = after;
    }
    assert!(kinds.iter().all(|count| *count >= 40), "each kind of cut: {kinds:?}");
    let _gone = std::fs::remove_dir_all(&folder);
}
