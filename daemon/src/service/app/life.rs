//! A service from its start to its end, over any number of site files.

use std::sync::Arc;
use std::time::{Duration, Instant as Moment};

use tokio::sync::mpsc::UnboundedReceiver;
use tokio::time::{Interval, MissedTickBehavior};

use super::{App, Inlets, Setup, StartError};
use crate::service::archive::ArchiveError;
use crate::service::clock::Clock;
use crate::service::link::Link;
use crate::service::state::Event;
use crate::service::supervision::{Order, Supervision};

/// Between two ticks on the service's own clock.
const TICK: Duration = Duration::from_secs(1);

/// Name of the site file as a source of faults.
const SITE_FILE: &str = "site file";

/// After a reload the archive of before may still be writing for so long.
const ARCHIVE_LIMIT: Duration = Duration::from_secs(10);

/// It has left after so long, even if the solver still works then.
const LEAVING: Duration = Duration::from_secs(4);

/// Runs the service until it is told to stop, and leaves in a safe state.
///
/// # Errors
/// If it cannot start.
pub async fn run(
    mut setup: Setup,
    clock: Arc<dyn Clock>,
    mut orders: UnboundedReceiver<Order<Setup>>,
    supervision: Supervision,
) -> Result<(), StartError> {
    let (mut app, mut inlets) = App::start(setup.clone(), Arc::clone(&clock), supervision).await?;
    let mut ticks = tokio::time::interval(TICK.div_f64(f64::from(clock.pace())));
    ticks.set_missed_tick_behavior(MissedTickBehavior::Skip);
    let mut told = "started";
    loop {
        app.supervision.ready(told);
        let Some(next) = app.serve(&mut inlets, &mut orders, &mut ticks).await else {
            app.supervision.stopping();
            app.leave().await;
            return Ok(());
        };
        let supervision = app.leave().await;
        let (started, fault) = match start_again(&next, &clock, &supervision).await {
            Ok(started) => {
                setup = next;
                told = "reloaded";
                (started, None)
            }
            Err(error) => {
                told = "not reloaded; the settings before are kept";
                (start_again(&setup, &clock, &supervision).await?, Some(error.to_string()))
            }
        };
        (app, inlets) = started;
        if let Some(text) = fault {
            app.refuse_reload(text);
        }
    }
}

/// Starts with other settings in the same process; an archive that still writes is
/// waited for.
async fn start_again(
    setup: &Setup,
    clock: &Arc<dyn Clock>,
    supervision: &Supervision,
) -> Result<(App, Inlets), StartError> {
    let begun = std::time::Instant::now();
    loop {
        match App::start(setup.clone(), Arc::clone(clock), supervision.clone()).await {
            Err(StartError::Archive(ArchiveError::Locked(_)))
                if begun.elapsed() < ARCHIVE_LIMIT =>
            {
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
            outcome => return outcome,
        }
    }
}

impl App {
    /// Takes one event after the other; returns other settings to go on with, or
    /// nothing when told to stop.
    async fn serve(
        &mut self,
        inlets: &mut Inlets,
        orders: &mut UnboundedReceiver<Order<Setup>>,
        ticks: &mut Interval,
    ) -> Option<Setup> {
        loop {
            tokio::select! {
                order = orders.recv() => match order {
                    Some(Order::Reload(outcome)) => {
                        self.supervision.reloading();
                        match outcome {
                            Ok(next) => return Some(*next),
                            Err(text) => self.refuse_reload(text),
                        }
                    }
                    Some(Order::Stop) | None => return None,
                },
                event = self.link.next_event() => self.hear(event),
                Some(answer) = inlets.answers.recv() => self.planned(answer),
                Some(delivery) = inlets.deliveries.recv() => self.deliver(delivery),
                Some(persisted) = inlets.persisted.recv() => {
                    self.handle(Event::Persisted(persisted));
                }
                Some(synchronised) = inlets.synchronised.recv() => self.synchronised = synchronised,
                _ = ticks.tick() => {
                    self.tick();
                    self.supervision.turn();
                }
            }
        }
    }

    /// Goes on as before, and says why.
    fn refuse_reload(&mut self, text: String) {
        tracing::error!(cause = text, "not reloaded; the settings before are kept");
        self.supervision.ready("not reloaded; the settings before are kept");
        let fault = Some(("not-reloaded", text));
        self.handle(Event::Source { name: SITE_FILE, fault });
    }

    /// Says what is safe, says good-bye, and writes what is left.
    async fn leave(mut self) -> Supervision {
        let end = Moment::now() + LEAVING;
        tracing::info!("stopping: everything is switched off");
        self.handle(Event::Stop);
        debug_assert!(self.leaving, "the state asked to leave");
        for task in &self.tasks {
            task.abort();
        }
        let told = self.link.stop().await;
        if !told {
            tracing::warn!("the broker could not be told everything; set-points run out");
        }
        self.memory.close(Duration::from_millis(500));
        self.solver.close(end);
        tracing::info!("stopped");
        self.supervision
    }
}
