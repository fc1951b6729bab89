//! The disk is full, cannot be written, or held a damaged archive.

use std::fs;
use std::process::Command;

use serde_json::json;

use crate::broker::Broker;
use crate::party::{Listener, PROGRAM, Service, Speaker, command, folder, site};
use crate::{OPEN, fault};

// Failure case 12: full. A limit on the size of files is as good as a full disk.
#[test]
fn on_a_full_disk_it_works_on_and_says_so() {
    let Some(broker) = Broker::start("full-disk", OPEN) else { return };
    let (port, folder) = (broker.port, folder("full-disk"));
    let listener = Listener::start(port);
    let mut shell = Command::new("sh");
    // In blocks of 512 bytes; the signal that comes with it is ignored, as a full disk
    // sends none.
    shell.args(["-c", "trap '' XFSZ; ulimit -f 300; exec \"$0\" \"$@\"", PROGRAM]);
    let service = Service::start_by(shell, &folder, &site(port, &folder, "", ""), &[]);
    let plan = listener.after(0, "a plan", |m| m.is("plan"));
    let mut probe = Speaker::start(port, "house/top");
    let mut celsius = 30.0;
    // Each plan is remembered, until nothing more fits.
    let full = (0..60).any(|round| {
        celsius += 0.01;
        probe.say(&format!("{celsius:.2}"));
        command(port, &format!("r{round}"), &json!({"kind": "replan"}));
        let is_it = |m: &crate::party::Heard| fault(m, "not-persisted");
        listener.within(std::time::Duration::from_secs(1), 0, is_it).is_some()
    });
    assert!(full, "the disk never filled\n{}", service.log());
    let from = listener.count();
    command(port, "still", &json!({"kind": "replan"}));
    listener.after(from, "an answer", |m| m.is("answer") && m.payload.contains("still"));
    let later = listener.after(from, "a plan", |m| m.is("plan"));
    assert!(later.json()["seq"].as_u64() > plan.json()["seq"].as_u64());
    assert_eq!(service.stop().0, Some(0));
}

// Failure case 12: nowhere to write at all.
#[test]
fn without_a_place_to_write_it_works_and_says_so() {
    let Some(broker) = Broker::start("no-disk", OPEN) else { return };
    let (port, folder) = (broker.port, folder("no-disk"));
    let listener = Listener::start(port);
    let text = site(port, std::path::Path::new("/proc/stowheat"), "", "");
    let service = Service::start(&folder, &text, &[]);
    listener.after(0, "a plan", |m| m.is("plan"));
    listener.after(0, "the fault", |m| fault(m, "not-persisted"));
    listener.after(0, "health", |m| m.is("health") && m.json()["persisted"] == false);
    service.says("the service works without a memory");
    assert_eq!(service.stop().0, Some(0));
}

// Failure cases 39 and 40: bits that turned, and a file of a later version.
#[test]
fn a_damaged_archive_is_kept_aside_and_a_new_one_begun() {
    let Some(broker) = Broker::start("damaged", OPEN) else { return };
    let (port, folder) = (broker.port, folder("damaged"));
    let listener = Listener::start(port);
    let text = site(port, &folder, "", "");
    let path = folder.join("mill-cottage.sqlite");
    let run = || {
        let from = listener.count();
        let service = Service::start(&folder, &text, &[]);
        listener.after(from, "a plan", |m| m.is("plan"));
        let log = service.log();
        assert_eq!(service.stop().0, Some(0));
        log
    };
    run();
    // The header field `user_version`, SQLite file format, section 1.3.
    for (at, bytes) in [(60, vec![0, 0, 0, 99]), (100, vec![0xff; 64]), (0, vec![0; 16])] {
        let mut file = fs::read(&path).expect("an archive");
        file[at..at + bytes.len()].copy_from_slice(&bytes);
        fs::write(&path, &file).expect("the folder is writable");
        let log = run();
        assert!(log.contains("the archive was damaged and begins anew"), "{at}\n{log}");
        // Names of what is kept hold the second.
        std::thread::sleep(std::time::Duration::from_millis(1_100));
    }
    let files = fs::read_dir(&folder).expect("a folder").map_while(Result::ok);
    let kept = files.filter(|file| file.file_name().to_string_lossy().contains("set-aside"));
    let kept = kept.filter(|file| !file.file_name().to_string_lossy().contains("-wal"));
    assert!(kept.count() >= 3);
}
