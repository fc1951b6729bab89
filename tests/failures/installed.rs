//! What is installed beside the program.

use std::process::Command;

use serde_json::json;

use crate::broker::Broker;
use crate::party::{Listener, PREFIX, PROGRAM, Service, folder, site};
use crate::report;

const DEPLOY: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy");

/// Highest exposure of the unit, in tenths.
const EXPOSURE: &str = "--threshold=20";

#[test]
fn the_unit_is_hardened() {
    let unit = format!("{DEPLOY}/systemd/stowheat.service");
    let output = Command::new("systemd-analyze")
        .args(["security", "--offline=true", "--no-pager", EXPOSURE, &unit])
        .output();
    let Ok(output) = output else {
        report("skipped: systemd-analyze is not installed");
        return;
    };
    let text = String::from_utf8_lossy(&output.stdout);
    report(text.lines().last().unwrap_or_default());
    assert!(output.status.success(), "{text}\n{}", String::from_utf8_lossy(&output.stderr));
}

/// Something of the program's own making.
fn printed(arguments: &[&str]) -> String {
    let output = Command::new(PROGRAM).args(arguments).output().expect("the program starts");
    assert!(output.status.success(), "{arguments:?}");
    String::from_utf8(output.stdout).expect("text")
}

#[test]
fn pages_and_completions_know_every_command() {
    let package = std::fs::read_to_string(format!("{DEPLOY}/package")).expect("the script");
    let (_, list) = package.split_once("for command in ").expect("the list of pages");
    let (list, _) = list.split_once(';').expect("its end");
    let commands: Vec<&str> = list.split(' ').collect();
    let page = printed(&["manual"]);
    assert!(page.contains(".TH stowheat 1"), "{page}");
    let named = page.matches("stowheat\\-").count();
    // Beside them only the commands that print pages, completions and help.
    assert!((commands.len()..=commands.len() + 3).contains(&named), "{named} of {commands:?}");
    for shell in ["bash", "zsh", "fish"] {
        let text = printed(&["completions", shell]);
        assert!(commands.iter().all(|command| text.contains(command)), "{shell}");
    }
    for command in commands {
        assert!(page.contains(&format!("stowheat\\-{command}")), "{command}");
        let own = printed(&["manual", command]);
        assert!(own.contains(&format!(".TH stowheat-{command} 1")), "{own}");
    }
    let output = Command::new(PROGRAM).args(["manual", "cook"]).output().expect("it starts");
    assert_eq!(output.status.code(), Some(64));
}

#[test]
fn the_health_command_tells_whether_the_service_is_ready() {
    let Some(broker) = Broker::start("healthy", crate::OPEN) else { return };
    let (port, folder) = (broker.port, folder("healthy"));
    let http = crate::broker::free_port();
    let text = site(port, &folder, &format!("http_address = \"127.0.0.1:{http}\""), "");
    let file = folder.join("site.toml").display().to_string();
    std::fs::write(&file, &text).expect("the folder is writable");
    let ask = || Command::new(PROGRAM).args(["health", &file]).output().expect("it starts");
    assert_eq!(ask().status.code(), Some(1), "nobody is there");
    let listener = Listener::start(port);
    let service = Service::start(&folder, &text, &[]);
    listener.after(0, "a plan", |m| m.is("plan"));
    let ready = (0..100).any(|_| {
        std::thread::sleep(std::time::Duration::from_millis(100));
        ask().status.success()
    });
    assert!(ready, "{}", String::from_utf8_lossy(&ask().stderr));
    assert_eq!(service.stop().0, Some(0));
}

#[test]
fn with_the_access_list_of_the_example_it_works_and_strangers_do_not() {
    let folder = folder("access");
    let (passwords, secret) = (folder.join("passwords"), folder.join("secret"));
    std::fs::write(&passwords, "").expect("the folder is writable");
    for user in ["stowheat", "panel", "probe", "immersion"] {
        let file = passwords.display().to_string();
        let made = Command::new("mosquitto_passwd").args(["-b", &file, user, "hunter2"]).output();
        let Ok(made) = made else {
            report("skipped: mosquitto is not installed");
            return;
        };
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    }
    std::fs::write(&secret, "hunter2\n").expect("the folder is writable");
    let closed = std::os::unix::fs::PermissionsExt::from_mode(0o600);
    std::fs::set_permissions(&secret, closed).expect("our own file");
    let more = format!(
        "allow_anonymous false\npassword_file {}\nacl_file {DEPLOY}/broker/access\n",
        passwords.display()
    );
    let Some(broker) = Broker::start_with("access-list", &more) else { return };
    let login = format!("user = \"stowheat\"\npassword_file = \"{}\"\n", secret.display());
    let port = broker.port;
    let text = site(port, &folder, "", "")
        .replace("[service.broker]\n", &format!("[service.broker]\n{login}"));
    let service = Service::start(&folder, &text, &[]);
    service.says("connected to the broker");
    service.says("new schedule");
    let say = |user: &str, topic: &str, payload: &str| {
        let said = Command::new("mosquitto_pub")
            .args([
                "-p",
                &port.to_string(),
                "-u",
                user,
                "-P",
                "hunter2",
                "-t",
                topic,
                "-m",
                payload,
            ])
            .output()
            .expect("mosquitto's clients are installed");
        assert!(said.status.success());
    };
    let boost = |id: &str| {
        let action = json!({"kind": "boost", "store": "cylinder", "minutes": 20});
        json!({"schema": "stowheat/command/1", "id": id, "action": action}).to_string()
    };
    say("probe", "house/top", "44");
    let command = format!("{PREFIX}/v1/command");
    say("probe", &command, &boost("from-the-probe"));
    say("immersion", &command, &boost("from-the-switch"));
    say("panel", &command, &boost("from-the-panel"));
    service.says("from-the-panel");
    service.says("boost by hand");
    let log = service.log();
    assert!(!log.contains("from-the-probe") && !log.contains("from-the-switch"), "{log}");
    assert!(!log.contains("refused") && !log.contains("echo-missing"), "{log}");
    assert_eq!(service.stop().0, Some(0));
}
