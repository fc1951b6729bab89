//! `stowheat run`.

use std::env;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio::signal::unix::{SignalKind, signal};
use tracing_subscriber::EnvFilter;

use crate::service::app::{self, Setup};
use crate::service::clock::{Clock, InventedClock, SystemClock};
use crate::service::link::Credentials;
use crate::service::settings::{LogFormat, PasswordPlace, ServiceSettings};
use crate::{local_time, site_file};

use super::arguments::Run;
use super::{Failure, Problem, colour, files, say};

/// Said at every start.
const SAFETY: &str = "stowheat is not a safety device: independent thermostats and \
    non-self-resetting cut-outs stay in place; unvented cylinders and fixed wiring are for \
    licensed people under local codes; store at 60 °C against legionella and mix down at the \
    tap against scalds";

pub(super) fn run(arguments: &Run) -> Result<(), Problem> {
    let (name, text) = files::site_text(&arguments.site)?;
    let checked = site_file::read(&text, &name)
        .map_err(|report| Problem::new(Failure::Site, report.rendered(colour())))?;
    for warning in &checked.warnings {
        say(&warning.rendered(colour()));
    }
    let Some(settings) = checked.service else {
        let text = format!(
            "{name}: there is no `[service]` table; add one with at least an `[[service.input]]` \
             for each store (see deploy/site.example.toml)"
        );
        return Err(Problem::new(Failure::Site, text));
    };
    log(arguments.log_format.unwrap_or(settings.log_format));
    let clock = clock(arguments)?;
    let credentials = credentials(&settings)?;
    let folder = settings.state_folder.clone().or_else(state_folder).ok_or_else(|| {
        let text = "no folder to remember in: set `state_folder` in `[service]`, or HOME";
        Problem::new(Failure::Site, text)
    })?;
    tracing::info!(
        version = env!("CARGO_PKG_VERSION"),
        site = checked.house.name,
        time_zone = checked.house.time_zone.name(),
        time_zone_data = chrono_tz::IANA_TZDB_VERSION,
        broker = format!("{}:{}", settings.broker.host, settings.broker.port),
        client_id = settings.broker.client_id,
        prefix = settings.broker.prefix,
        inputs = settings.inputs.len(),
        state_folder = %folder.display(),
        "starting"
    );
    tracing::warn!("{SAFETY}");
    let setup = Setup { house: checked.house, settings, folder, credentials };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Problem::new(Failure::Failed, error))?;
    let outcome = runtime.block_on(async {
        let shutdown = told_to_stop()?;
        app::run(setup, clock, shutdown).await.map_err(|error| Problem::new(Failure::Failed, error))
    });
    // A blocked look-up of names must not hold up the end.
    runtime.shutdown_background();
    outcome
}

/// Logs go to standard error; the journal has its own clock.
fn log(format: LogFormat) {
    let filter = EnvFilter::try_from_env("STOWHEAT_LOG").unwrap_or_else(|_| EnvFilter::new("info"));
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    let log = log.with_target(false);
    let in_journal = env::var_os("JOURNAL_STREAM").is_some();
    match format {
        LogFormat::Json => log.json().flatten_event(true).init(),
        LogFormat::Text if in_journal => log.with_ansi(false).without_time().init(),
        LogFormat::Text => log.with_ansi(colour()).init(),
    }
}

fn clock(arguments: &Run) -> Result<Arc<dyn Clock>, Problem> {
    let Some(from) = &arguments.clock_from else { return Ok(Arc::new(SystemClock::start())) };
    let at = local_time::parse_instant(from).map_err(|error| {
        let text = format!("--clock-from {from}: {}; {}", error.rule(), error.remedy());
        Problem::new(Failure::Usage, text)
    })?;
    tracing::warn!(from, rate = arguments.clock_rate, "a trial: runs on an invented clock");
    Ok(Arc::new(InventedClock::start(at, arguments.clock_rate)))
}

fn credentials(settings: &ServiceSettings) -> Result<Option<Credentials>, Problem> {
    let Some((user, place)) = &settings.broker.login else { return Ok(None) };
    let path = match place {
        PasswordPlace::File(path) => path.clone(),
        PasswordPlace::Credential(name) => {
            let folder = env::var_os("CREDENTIALS_DIRECTORY").ok_or_else(|| {
                let text = "`password_credential` needs a systemd unit with `LoadCredential=`; \
                            use `password_file` elsewhere";
                Problem::new(Failure::Site, text)
            })?;
            PathBuf::from(folder).join(name)
        }
    };
    let password = std::fs::read_to_string(&path).map_err(|error| {
        let text = format!("{}: the password cannot be read: {error}", path.display());
        Problem::new(Failure::Site, text)
    })?;
    warn_of_readers(&path);
    let password = password.trim_end_matches(['\r', '\n']).to_owned();
    Ok(Some(Credentials { user: user.clone(), password }))
}

fn warn_of_readers(path: &Path) {
    use std::os::unix::fs::PermissionsExt;
    let mode = std::fs::metadata(path).map_or(0, |data| data.permissions().mode());
    if mode & 0o004 != 0 {
        let file = path.display().to_string();
        tracing::warn!(file, "everybody on this machine can read the password; chmod o-r");
    }
}

/// The folder that the unit or the user's own settings name.
fn state_folder() -> Option<PathBuf> {
    let folder = |name: &str| env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    folder("STATE_DIRECTORY")
        .or_else(|| Some(folder("XDG_STATE_HOME")?.join("stowheat")))
        .or_else(|| Some(folder("HOME")?.join(".local/state/stowheat")))
}

/// Waits for SIGTERM or SIGINT.
fn told_to_stop() -> Result<impl Future<Output = ()>, Problem> {
    let listen = |kind| signal(kind).map_err(|error| Problem::new(Failure::Failed, error));
    let (mut terminate, mut interrupt) =
        (listen(SignalKind::terminate())?, listen(SignalKind::interrupt())?);
    Ok(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
    })
}
