//! Putting the service together.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use optimiser::time::Instant;
use optimiser::units::Temperature;
use tokio::sync::mpsc::{UnboundedSender, unbounded_channel};
use tokio::sync::watch;

use super::ledger::{HygieneWatch, RunLedger};
use super::memory::Memory;
use super::plant_room::RoomEstimate;
use super::rules;
use super::{App, Inlets, connection};
use crate::assemble::Known;
use crate::house::House;
use crate::service::archive::{Archive, ArchiveError, Notice};
use crate::service::clock::{self, Clock, StepWatch, Synchronised};
use crate::service::commands::Overrides;
use crate::service::homie::{Mirror, Status, Tree, TreeError};
use crate::service::http;
use crate::service::learning::{DrawWatch, Logbook, Meters};
use crate::service::link::{BrokerLink, ConfigError, Credentials, Link, Rank, Tls, TopicError};
use crate::service::planning::estimate::{self, Estimate};
use crate::service::planning::{Program, Solver};
use crate::service::settings::{Place, ServiceSettings};
use crate::service::sources::{Delivery, Forecasts, PriceDesk, Subject, watch_file, watch_url};
use crate::service::state::{Event, Settings, State};
use crate::service::supervision::Supervision;
use crate::service::wire::Command;
use crate::service::wire::topics::{Topics, level};

/// How long a start waits for the answer; until it comes the time is not trusted.
const ASK_LIMIT: Duration = Duration::from_secs(1);

/// How often the system is asked whether its time is right.
const ASK_TIME: Duration = Duration::from_mins(1);

/// Prices of a tariff without a series are known for so long [s].
const FOR_EVER_S: i64 = 100 * 365 * 86_400;

/// What the service is started with.
#[derive(Debug, Clone)]
pub struct Setup {
    /// The house.
    pub house: House,
    /// Its service.
    pub settings: ServiceSettings,
    /// Folder of what is remembered.
    pub folder: PathBuf,
    /// Name and password at the broker.
    pub credentials: Option<Credentials>,
    /// TLS to the broker.
    pub tls: Option<Tls>,
    /// It only shows what it would do; see [`Setup::in_shadow`].
    pub shadow: bool,
    /// What answers its planning problems; [`optimiser::plan::Planner::plan`] unless
    /// a test tries what happens when that fails.
    pub program: Program,
}

/// Why the service does not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// Another one runs.
    #[error(transparent)]
    Archive(ArchiveError),
    /// The broker's settings cannot work.
    #[error(transparent)]
    Link(#[from] ConfigError),
    /// The prefix is no topic.
    #[error(transparent)]
    Topic(#[from] TopicError),
    /// The names make no Homie tree.
    #[error(transparent)]
    Tree(#[from] TreeError),
    /// The port for monitoring is taken.
    #[error("{address} cannot be opened for monitoring: {cause}; choose another `http_address`")]
    Http {
        /// The address.
        address: std::net::SocketAddr,
        /// What the system says.
        cause: std::io::Error,
    },
}

impl App {
    pub(super) async fn start(
        setup: Setup,
        clock: Arc<dyn Clock>,
        supervision: Supervision,
    ) -> Result<(Self, Inlets), StartError> {
        let Setup { house, settings, folder, credentials, tls, shadow, program } = setup;
        let now = clock.now();
        let boot_id = boot_id();
        let sync = asked_in_time(&clock).await;
        let (archive, remembers) = open(&folder, &house, now)?;
        let topics = Topics::new(settings.broker.prefix.clone())?;
        let tree = Tree::new(&settings.homie.spec(&house))?;
        let shows_tree = settings.homie.on;
        let shown = shows_tree.then_some(&tree);
        let mut config = connection::config(&settings, &topics, shown, &boot_id);
        config.credentials = credentials;
        config.tls = tls;
        config.pulse = supervision.link.clone();
        if shadow {
            config.subscriptions.retain(|filter| *filter != topics.command());
        } else {
            config.never_kept = connection::set_point_topics(&topics, &house);
        }
        let config = config.check()?;
        let (answers_in, answers) = unbounded_channel();
        let (deliveries_in, deliveries) = unbounded_channel();
        let (persisted_in, persisted) = unbounded_channel();
        let (synchronised_in, synchronised) = unbounded_channel();
        let mut tasks = watchers(&settings, &deliveries_in);
        tasks.push(tokio::spawn(watch_time(Arc::clone(&clock), synchronised_in)));
        let status = watch::Sender::new(http::Status::default());
        if let Some(address) = settings.http {
            let cause = |cause| StartError::Http { address, cause };
            let listener = http::bind(address).await.map_err(cause)?;
            tasks.push(tokio::spawn(http::serve(listener, status.subscribe())));
        }
        let overrides = overrides(&house, archive.as_ref(), now);
        let proven = proven(&house, archive.as_ref());
        let logbook = logbook(&house, archive.as_ref(), now);
        let desk = desk(&settings, &house, archive.as_ref(), now);
        let priced = overrides.wishes().iter().map(|wish| wish.id.clone()).collect();
        let known_until = desk.as_ref().map_or(now + FOR_EVER_S, |desk| desk.known_until(now));
        let settled = rules::settings(&house, &settings, &topics, &boot_id);
        let state = State::new(Settings { shadow, ..settled }, now, overrides);
        let mut app = Self {
            stores: initial(&house),
            battery_kwh: house.state.battery.kwh(),
            room: RoomEstimate::initial(&house),
            forecasts: Forecasts::new(&settings.forecasts),
            house: Arc::new(house),
            settings,
            clock,
            boot_id,
            state,
            link: BrokerLink::start(config),
            topics,
            tree: None,
            program,
            solver: Solver::new(answers_in, supervision.solver.clone()),
            memory: Memory::start(archive, persisted_in.clone()),
            desk,
            known: Arc::new(Known::default()),
            made: None,
            plan_number: 0,
            schedule_json: String::new(),
            reasons: BTreeMap::new(),
            source_reasons: BTreeMap::new(),
            coiled: BTreeSet::new(),
            battery_reason: String::new(),
            alerts: BTreeMap::new(),
            faults: Vec::new(),
            underway: None,
            again: None,
            hurried: None,
            runs: RunLedger::default(),
            meters: Meters::default(),
            draws: DrawWatch::default(),
            logbook,
            logged_until: None,
            hygiene: HygieneWatch::new(proven),
            steps: StepWatch::default(),
            synchronised: sync,
            refreshed: None,
            shown: None,
            commands_made: 0,
            priced,
            status,
            tasks,
            leaving: false,
            supervision,
        };
        if !shadow {
            app.raise(tree);
        }
        app.know(now);
        app.handle(Event::Tick { clock_is_right: clock::is_right(now, sync), step_s: None });
        if !remembers {
            let _lives = persisted_in.send(false);
        }
        if known_until > now {
            app.handle(Event::Prices { known_until });
        }
        Ok((app, Inlets { answers, deliveries, persisted, synchronised }))
    }

    /// Describes the tree, or takes down the one of an earlier start.
    fn raise(&mut self, tree: Tree) {
        let mirror = Mirror::new(&tree);
        if self.settings.homie.on {
            for message in tree.descriptions() {
                self.set(message, Rank::Description);
            }
            if self.settings.homie.mirror {
                for message in mirror.descriptions() {
                    self.set(message, Rank::Description);
                }
            }
        } else {
            for topic in tree.topics() {
                self.link.clear_latest(topic);
            }
        }
        if !self.settings.homie.mirror {
            for topic in mirror.topics() {
                self.link.clear_latest(topic);
            }
        }
        self.tree = self.settings.homie.on.then_some(tree);
        self.set_states(Status::Ready, Rank::Ready);
    }
}

/// Asking may take long, and nobody may have to wait for the end meanwhile.
async fn asked_in_time(clock: &Arc<dyn Clock>) -> Synchronised {
    let asked = tokio::time::timeout(ASK_LIMIT, ask_time(Arc::clone(clock))).await;
    asked.unwrap_or(Synchronised::No)
}

/// Sixteen digits from the system's own randomness.
fn boot_id() -> String {
    use std::hash::{BuildHasher, Hasher};
    let number = std::hash::RandomState::new().build_hasher().finish();
    format!("{number:016x}")
}

/// Opens the archive. One that another process holds ends the start; without any
/// other one the service works without a memory.
fn open(
    folder: &std::path::Path,
    house: &House,
    now: Instant,
) -> Result<(Option<Archive>, bool), StartError> {
    let path = folder.join(format!("{}.sqlite", level(&house.name)));
    if let Err(error) = std::fs::create_dir_all(folder) {
        tracing::error!(%error, folder = %folder.display(), "no folder to remember in");
    }
    match Archive::open(&path, now) {
        Ok((archive, notice)) => {
            if let Some(Notice::SetAside { kept_as, cause }) = notice {
                let kept_as = kept_as.display().to_string();
                tracing::error!(kept_as, cause, "the archive was damaged and begins anew");
            }
            Ok((Some(archive), true))
        }
        Err(error @ ArchiveError::Locked(_)) => Err(StartError::Archive(error)),
        Err(error) => {
            tracing::error!(%error, "the service works without a memory");
            Ok((None, false))
        }
    }
}

fn watchers(
    settings: &ServiceSettings,
    to: &UnboundedSender<Delivery>,
) -> Vec<tokio::task::JoinHandle<()>> {
    let prices = settings.prices.iter().map(|source| (Subject::Prices, &source.place));
    let forecasts = settings.forecasts.iter();
    let forecasts = forecasts.map(|source| (Subject::Forecast(source.of), &source.place));
    prices
        .chain(forecasts)
        .filter_map(|(subject, place)| match place.clone() {
            Place::File(path) => Some(tokio::spawn(watch_file(subject, path, to.clone()))),
            Place::Url(url, every_s) => {
                Some(tokio::spawn(watch_url(subject, url, every_s, to.clone())))
            }
            Place::Topic(_) => None,
        })
        .collect()
}

/// The desk for prices, with those of before the start.
fn desk(
    settings: &ServiceSettings,
    house: &House,
    archive: Option<&Archive>,
    now: Instant,
) -> Option<PriceDesk> {
    let source = settings.prices.as_ref()?;
    let mut desk = PriceDesk::new(source.form.clone(), house.tariff.clone());
    if let Some(archive) = archive
        && let Err(error) = desk.recall(archive, now)
    {
        tracing::warn!(%error, "prices of before are not known");
    }
    Some(desk)
}

/// What was asked for by hand before the start and holds still.
fn overrides(house: &House, archive: Option<&Archive>, now: Instant) -> Overrides {
    let mut overrides = Overrides::new(rules::plant(house));
    let open = archive.map_or_else(|| Ok(Vec::new()), |archive| archive.open_commands(now));
    match open {
        Ok(commands) => {
            for (at, json) in commands {
                if let Ok(command) = serde_json::from_str::<Command>(&json) {
                    let answer = overrides.apply(at, &command);
                    tracing::debug!(id = answer.id, text = answer.text, "taken up again");
                }
            }
        }
        Err(error) => tracing::error!(%error, "what was asked for before is not known"),
    }
    let wishes = overrides.wishes().to_vec();
    overrides.with_wishes(now, wishes)
}

/// What the meters taught before the start.
fn logbook(house: &House, archive: Option<&Archive>, now: Instant) -> Logbook {
    let recalled = archive.map(|archive| Logbook::recall(archive, house, now));
    recalled.transpose().map_or_else(
        |error| {
            tracing::warn!(%error, "what was learned before is not known");
            Logbook::default()
        },
        Option::unwrap_or_default,
    )
}

/// The later of what the file and the archive say.
fn proven(house: &House, archive: Option<&Archive>) -> Vec<Option<Instant>> {
    let rules = house.hygiene_of_all().into_iter();
    rules
        .map(|rule| {
            let name = &house.site.stores[rule.store].name;
            let kept = archive.and_then(|archive| archive.last_hygiene(name).ok().flatten());
            rule.last_proven.max(kept)
        })
        .collect()
}

/// The model that stands in before the first schedule: the site file's state.
fn initial(house: &House) -> Vec<Estimate> {
    let stores = house.state.stores.iter();
    let measured = false;
    stores
        .map(|layers: &Vec<Temperature>| Estimate {
            profile: estimate::resampled(layers),
            measured,
        })
        .collect()
}

/// Tells whether the system's time is right, every minute. Asking may start a
/// program, so it has a thread of its own.
async fn watch_time(clock: Arc<dyn Clock>, to: UnboundedSender<Synchronised>) {
    let mut interval = tokio::time::interval(ASK_TIME);
    loop {
        interval.tick().await;
        if to.send(ask_time(Arc::clone(&clock)).await).is_err() {
            return;
        }
    }
}

async fn ask_time(clock: Arc<dyn Clock>) -> Synchronised {
    let asked = tokio::task::spawn_blocking(move || clock.synchronised()).await;
    asked.unwrap_or(Synchronised::Unknown)
}
