//! Debian's mosquitto on a free loopback port, with a folder of its own.

use std::fs;
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

/// A broker that ends with the test.
pub(crate) struct Broker {
    folder: PathBuf,
    program: PathBuf,
    process: Option<Child>,
    /// Port it listens on.
    pub(crate) port: u16,
}

impl Broker {
    /// Starts a broker with persistence and an access list; `None`, with a line
    /// that says so, where none is installed.
    pub(crate) fn start(name: &str, access: &str) -> Option<Self> {
        let mut broker = Self::prepare(name)?;
        broker.configure(&format!(
            "allow_anonymous true\nacl_file {}\n",
            broker.folder.join("access").display()
        ));
        fs::write(broker.folder.join("access"), access).expect("the folder is writable");
        broker.run();
        Some(broker)
    }

    /// Starts a broker with these settings, such as listeners with TLS; `None` where
    /// none is installed.
    pub(crate) fn start_with(name: &str, more: &str) -> Option<Self> {
        let mut broker = Self::prepare(name)?;
        broker.configure(more);
        broker.run();
        Some(broker)
    }

    /// Starts a broker whose plugin refuses subscriptions outside `allowed`; `None`
    /// where broker or plugin is not installed.
    pub(crate) fn start_refusing(name: &str, allowed: &str) -> Option<Self> {
        let plugin = ["/usr/lib/x86_64-linux-gnu", "/usr/lib/aarch64-linux-gnu", "/usr/lib"]
            .map(|folder| Path::new(folder).join("mosquitto_dynamic_security.so"))
            .into_iter()
            .find(|path| path.exists());
        let Some(plugin) = plugin else {
            say(&format!("{name}: skipped, mosquitto's dynamic security plugin is not installed"));
            return None;
        };
        let mut broker = Self::prepare(name)?;
        let rules = broker.folder.join("rules.json");
        let document = serde_json::json!({
            "defaultACLAccess": {"publishClientSend": true, "publishClientReceive": true,
                                 "subscribe": false, "unsubscribe": true},
            "clients": [],
            "groups": [{"groupname": "all", "roles": [{"rolename": "reader"}]}],
            "roles": [{"rolename": "reader", "acls": [
                {"acltype": "subscribePattern", "topic": allowed, "allow": true}]}],
            "anonymousGroup": "all"
        });
        fs::write(&rules, document.to_string()).expect("the folder is writable");
        broker.configure(&format!(
            "allow_anonymous true\nplugin {}\nplugin_opt_config_file {}\n",
            plugin.display(),
            rules.display()
        ));
        broker.run();
        Some(broker)
    }

    /// Ends the broker without warning.
    pub(crate) fn kill(&mut self) {
        if let Some(mut process) = self.process.take() {
            process.kill().expect("our own child");
            process.wait().expect("our own child");
        }
    }

    /// Starts it again on the same port.
    pub(crate) fn run(&mut self) {
        let child = Command::new(&self.program)
            .arg("-c")
            .arg(self.folder.join("mosquitto.conf"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let child = self.process.insert(child.expect("the broker starts"));
        let end = Instant::now() + Duration::from_secs(10);
        while TcpStream::connect((Ipv4Addr::LOCALHOST, self.port)).is_err() {
            let ended = child.try_wait().expect("our own child");
            assert!(ended.is_none(), "the broker ended at once: {ended:?}");
            assert!(Instant::now() < end, "the broker does not listen");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    fn prepare(name: &str) -> Option<Self> {
        let program = ["/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto", "/usr/bin/mosquitto"]
            .map(PathBuf::from)
            .into_iter()
            .find(|path| path.exists());
        let Some(program) = program else {
            say(&format!("{name}: skipped, mosquitto is not installed"));
            return None;
        };
        let folder = std::env::temp_dir().join(format!("stowheat-{name}-{}", std::process::id()));
        fs::create_dir_all(&folder).expect("a folder");
        let port = free_port();
        Some(Self { folder, program, process: None, port })
    }

    fn configure(&mut self, access: &str) {
        // As root mosquitto would change to a user that cannot read the folder.
        let text = format!(
            "listener {} 127.0.0.1\nuser root\npersistence true\npersistence_location {}/\n{access}",
            self.port,
            self.folder.display()
        );
        fs::write(self.folder.join("mosquitto.conf"), text).expect("the folder is writable");
    }
}

/// A port that is free and was given to no other test of this program.
///
/// It lies below the range from which the system takes the near ends of connections
/// (32768 and up on Linux): there a client of another test may hold it, and a
/// client that knocks before the broker listens may even reach itself.
pub(crate) fn free_port() -> u16 {
    const FIRST: u32 = 10_000;
    const COUNT: u32 = 22_000;
    static GIVEN: AtomicU32 = AtomicU32::new(0);
    // Programs that run at the same time begin far apart.
    let begin = std::process::id().wrapping_mul(7_919);
    loop {
        let given = GIVEN.fetch_add(1, Ordering::Relaxed);
        assert!(given < COUNT, "no port is free");
        let port = (FIRST + begin.wrapping_add(given) % COUNT) as u16;
        if TcpListener::bind((Ipv4Addr::LOCALHOST, port)).is_ok() {
            return port;
        }
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        self.kill();
        let _ = fs::remove_dir_all(&self.folder);
    }
}

#[expect(clippy::print_stderr, reason = "a skipped check must be seen")]
fn say(text: &str) {
    eprintln!("{text}");
}
