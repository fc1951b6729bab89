//! `stowheat run`.

use std::env;
use std::path::PathBuf;
use std::sync::Arc;

use optimiser::plan::Planner;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};
use tracing_subscriber::EnvFilter;

use crate::service::app::{self, Setup};
use crate::service::clock::{Clock, InventedClock, SystemClock};
use crate::service::settings::LogFormat;
use crate::service::supervision::{self, Order, Supervision};
use crate::{local_time, site_file};

use super::arguments::Run;
use super::secrets::{self, Secrets};
use super::{Failure, Problem, colour, files, say};

/// Said at every start.
const SAFETY: &str = "stowheat is not a safety device: independent thermostats and \
    non-self-resetting cut-outs stay in place; unvented cylinders and fixed wiring are for \
    licensed people under local codes; store at 60 °C against legionella and mix down at the \
    tap against scalds";

pub(super) fn run(arguments: &Run) -> Result<(), Problem> {
    let setup = prepare(arguments)?;
    log(arguments.log_format.unwrap_or(setup.settings.log_format));
    supervision::end_on_panic();
    let clock = clock(arguments)?;
    announce(&setup);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Problem::new(Failure::Failed, error))?;
    let outcome = runtime.block_on(async {
        let orders = orders(arguments.clone())?;
        let supervision = Supervision::from_environment();
        Box::pin(app::run(setup, clock, orders, supervision))
            .await
            .map_err(|error| Problem::new(Failure::Failed, error))
    });
    // A blocked look-up of names must not hold up the end.
    runtime.shutdown_background();
    outcome
}

/// Everything that the site file means for a service.
fn prepare(arguments: &Run) -> Result<Setup, Problem> {
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
    let Secrets { credentials, tls } = secrets::read(&settings.broker)?;
    let folder = settings.state_folder.clone().or_else(state_folder).ok_or_else(|| {
        let text = "no folder to remember in: set `state_folder` in `[service]`, or HOME";
        Problem::new(Failure::Site, text)
    })?;
    let setup = Setup {
        house: checked.house,
        settings,
        folder,
        credentials,
        tls,
        shadow: false,
        program: Planner::plan,
    };
    Ok(if arguments.shadow { setup.in_shadow() } else { setup })
}

fn announce(setup: &Setup) {
    let (house, settings) = (&setup.house, &setup.settings);
    tracing::info!(
        version = env!("CARGO_PKG_VERSION"),
        site = house.name,
        time_zone = house.time_zone.name(),
        time_zone_data = chrono_tz::IANA_TZDB_VERSION,
        broker = format!("{}:{}", settings.broker.host, settings.broker.port),
        tls = setup.tls.is_some(),
        client_id = settings.broker.client_id,
        prefix = settings.broker.prefix,
        inputs = settings.inputs.len(),
        state_folder = %setup.folder.display(),
        "starting"
    );
    tracing::warn!("{SAFETY}");
    if setup.shadow {
        tracing::warn!("in the shadow: schedules are shown, nothing is switched");
    }
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

/// The folder that the unit or the user's own settings name.
fn state_folder() -> Option<PathBuf> {
    let folder = |name: &str| env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    folder("STATE_DIRECTORY")
        .or_else(|| Some(folder("XDG_STATE_HOME")?.join("stowheat")))
        .or_else(|| Some(folder("HOME")?.join(".local/state/stowheat")))
}

/// SIGTERM and SIGINT end the service; SIGHUP has it read its site file again.
fn orders(arguments: Run) -> Result<UnboundedReceiver<Order<Setup>>, Problem> {
    let listen = |kind| signal(kind).map_err(|error| Problem::new(Failure::Failed, error));
    let mut terminate = listen(SignalKind::terminate())?;
    let mut interrupt = listen(SignalKind::interrupt())?;
    let mut hang_up = listen(SignalKind::hangup())?;
    let (orders, received) = unbounded_channel();
    tokio::spawn(async move {
        loop {
            let order = tokio::select! {
                _ = terminate.recv() => Order::Stop,
                _ = interrupt.recv() => Order::Stop,
                _ = hang_up.recv() => Order::Reload(
                    prepare(&arguments).map(Box::new).map_err(|problem| problem.text),
                ),
            };
            if orders.send(order).is_err() {
                return;
            }
        }
    });
    Ok(received)
}
