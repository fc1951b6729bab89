//! TLS to the broker, with certificates that openssl makes for the test.

use std::io::Read;
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use crate::broker::{Broker, free_port};
use crate::party::{Listener, PROGRAM, Service, folder, site};
use crate::report;

/// A folder of certificates.
struct Office(PathBuf);

impl Office {
    /// With an authority of its own, and one that nobody trusts.
    fn open(folder: &Path) -> Option<Self> {
        for tool in ["openssl", "faketime"] {
            if Command::new(tool).arg("--version").output().is_err() {
                report(&format!("skipped: {tool} is not installed"));
                return None;
            }
        }
        let office = Self(folder.join("office"));
        std::fs::create_dir_all(&office.0).expect("a folder");
        for name in ["ca", "stranger"] {
            let (key, certificate) = (office.path(name, "key"), office.path(name, "pem"));
            office.openssl(
                None,
                &[
                    "req",
                    "-x509",
                    "-newkey",
                    "rsa:2048",
                    "-nodes",
                    "-days",
                    "3650",
                    "-subj",
                    &format!("/CN={name}"),
                    "-keyout",
                    &key,
                    "-out",
                    &certificate,
                ],
            );
        }
        Some(office)
    }

    /// A certificate that the authority signed at a time, for a day or ten years.
    fn issue(&self, name: &str, subject: &str, at: Option<&str>) {
        let (key, request) = (self.path(name, "key"), self.path(name, "csr"));
        let (certificate, extension) = (self.path(name, "pem"), self.path(name, "ext"));
        std::fs::write(&extension, format!("subjectAltName={subject}\n")).expect("writable");
        self.openssl(
            None,
            &[
                "req",
                "-newkey",
                "rsa:2048",
                "-nodes",
                "-subj",
                &format!("/CN={name}"),
                "-keyout",
                &key,
                "-out",
                &request,
            ],
        );
        let days = if at.is_some() { "2" } else { "3650" };
        self.openssl(
            at,
            &[
                "x509",
                "-req",
                "-in",
                &request,
                "-CA",
                &self.path("ca", "pem"),
                "-CAkey",
                &self.path("ca", "key"),
                "-CAcreateserial",
                "-days",
                days,
                "-extfile",
                &extension,
                "-out",
                &certificate,
            ],
        );
    }

    fn openssl(&self, at: Option<&str>, arguments: &[&str]) {
        let mut command = Command::new(if at.is_some() { "faketime" } else { "openssl" });
        command.args(at.iter().flat_map(|at| [*at, "openssl"])).args(arguments);
        let output = command.current_dir(&self.0).output().expect("openssl runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    }

    fn path(&self, name: &str, ending: &str) -> String {
        self.0.join(format!("{name}.{ending}")).display().to_string()
    }

    /// Settings of a listener with a certificate.
    fn listener(&self, port: u16, certificate: &str, more: &str) -> String {
        format!(
            "listener {port} 127.0.0.1\ncertfile {}\nkeyfile {}\n{more}",
            self.path(certificate, "pem"),
            self.path(certificate, "key")
        )
    }
}

/// The small site with TLS to a port.
fn over(text: &str, port: u16, more: &str) -> String {
    let begin = text.find("[service.broker]\n").expect("the table") + "[service.broker]\n".len();
    let end = begin + text[begin..].find('\n').expect("its port");
    format!("{}port = {port}\ntls = true\n{more}{}", &text[..begin], &text[end..])
}

// Failure case 35.
#[test]
fn each_way_in_which_tls_fails_has_its_own_words() {
    let folder = folder("tls");
    let Some(office) = Office::open(&folder) else { return };
    office.issue("good", "DNS:localhost,IP:127.0.0.1", None);
    office.issue("other", "DNS:broker.example", None);
    office.issue("old", "DNS:localhost,IP:127.0.0.1", Some("2020-01-01"));
    office.issue("coming", "DNS:localhost,IP:127.0.0.1", Some("2060-01-01"));
    office.issue("client", "DNS:client", None);
    let ports: Vec<u16> = (0..5).map(|_| free_port()).collect();
    let wants = format!("cafile {}\nrequire_certificate true\n", office.path("ca", "pem"));
    let listeners = [
        office.listener(ports[0], "good", ""),
        office.listener(ports[1], "other", ""),
        office.listener(ports[2], "old", ""),
        office.listener(ports[3], "coming", ""),
        office.listener(ports[4], "good", &wants),
    ];
    let Some(broker) =
        Broker::start_with("tls-broker", &format!("allow_anonymous true\n{}", listeners.concat()))
    else {
        return;
    };
    let trust = format!("ca_file = \"{}\"\n", office.path("ca", "pem"));
    let distrust = format!("ca_file = \"{}\"\n", office.path("stranger", "pem"));
    let show = format!(
        "{trust}client_certificate_file = \"{}\"\nclient_key_file = \"{}\"\n",
        office.path("client", "pem"),
        office.path("client", "key")
    );
    let text = site(broker.port, &folder, "", "");
    for (port, more, words) in [
        (ports[0], &distrust, "not from an authority that is trusted here"),
        (ports[0], &String::new(), "not from an authority that is trusted here"),
        (ports[1], &trust, "for another name"),
        (ports[2], &trust, "has expired"),
        (ports[3], &trust, "is not valid yet"),
        (ports[4], &trust, "wants a client certificate"),
        (broker.port, &trust, "for TLS, usually 8883"),
    ] {
        let service = Service::start(&folder, &over(&text, port, more), &[]);
        service.says(words);
        assert!(!service.log().contains("connected to the broker"), "{words}");
        assert_eq!(service.stop().0, Some(0));
    }
    let listener = Listener::start(broker.port);
    for (port, more) in [(ports[0], &trust), (ports[4], &show)] {
        let from = listener.count();
        let service = Service::start(&folder, &over(&text, port, more), &[]);
        listener.after(from, "a plan", |m| m.is("plan"));
        assert_eq!(service.stop().0, Some(0));
    }
}

// Failure case 35: whatever listens, it is never spoken to in plain text.
#[test]
fn there_is_no_way_back_to_plain_text() {
    let folder = folder("plain");
    let socket = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = socket.local_addr().expect("an address").port();
    let service = Service::start(&folder, &over(&site(1, &folder, "", ""), port, ""), &[]);
    socket.set_nonblocking(true).expect("a socket");
    let end = Instant::now() + Duration::from_mins(1);
    let mut calls = 0;
    while calls < 3 {
        assert!(Instant::now() < end, "{calls} calls in 60 s\n{}", service.log());
        let Ok((mut stream, _)) = socket.accept() else {
            std::thread::sleep(Duration::from_millis(20));
            continue;
        };
        stream.set_nonblocking(false).expect("a socket");
        stream.set_read_timeout(Some(Duration::from_secs(10))).expect("a socket");
        calls += 1;
        let mut first = [0];
        stream.read_exact(&mut first).expect("it speaks");
        // The record type of a handshake, RFC 8446, section 5.1.
        assert_eq!(first, [22]);
    }
    drop(service);
}

// Failure case 35: secrets.
#[test]
fn a_secret_that_others_can_read_is_refused() {
    let folder = folder("secret");
    let secret = folder.join("password");
    std::fs::write(&secret, "hunter2\n").expect("the folder is writable");
    let mode = |mode| {
        let permissions = std::fs::Permissions::from_mode(mode);
        std::fs::set_permissions(&secret, permissions).expect("our own file");
    };
    let login = format!("user = \"mill\"\npassword_file = \"{}\"\n", secret.display());
    let text = site(1, &folder, "", "").replace("port = 1\n", &format!("port = 1\n{login}"));
    mode(0o644);
    let mut service = Service::start(&folder, &text, &[]);
    assert_eq!(service.wait(), Some(78));
    assert!(service.log().contains("everybody on this machine can read"), "{}", service.log());
    mode(0o600);
    let service = Service::start(&folder, &text, &[]);
    service.says("no connection to the broker");
    assert!(!service.log().contains("hunter2"));
    drop(service);
    let mut service = Service::start(&folder, &text.replace("/password\"", "/passwort\""), &[]);
    assert_eq!(service.wait(), Some(78));
    assert!(service.log().contains("the password cannot be read: No such file"));

    // As a credential of a unit: there is a folder of them, or there is not.
    let text = text.replace(
        &format!("password_file = \"{}\"", secret.display()),
        "password_credential = \"password\"",
    );
    let mut service = Service::start(&folder, &text, &[]);
    assert_eq!(service.wait(), Some(78));
    assert!(service.log().contains("LoadCredential=password"), "{}", service.log());
    let mut command = Command::new(PROGRAM);
    command.env("CREDENTIALS_DIRECTORY", &folder);
    let service = Service::start_by(command, &folder, &text, &[]);
    service.says("no connection to the broker");
    let begun = Instant::now();
    assert_eq!(service.stop().0, Some(0));
    assert!(begun.elapsed() < Duration::from_secs(3));
}
