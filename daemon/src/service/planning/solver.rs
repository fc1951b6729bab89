//! The thread that solves. HiGHS keeps a scheduler for each thread that calls it,
//! so it is always the same one, until it hangs and is left behind.

use std::sync::Arc;
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use optimiser::plan::Planner;
use tokio::sync::mpsc::UnboundedSender;

use super::making::{Made, Priced, Snapshot, caught, make, price};
use crate::service::supervision::{Pulse, SOLVER_THREAD};

/// Limit on one schedule, by a clock that nobody can set.
const LIMIT: Duration = Duration::from_secs(20);

/// Threads that may be left behind; after them there are no more schedules, and
/// the comfort minimum stays until the service is started again.
const MOST_LEFT: usize = 3;

/// How often the waiting thread says that it lives.
const BEAT: Duration = Duration::from_secs(5);

/// How often it is looked whether the thread has ended.
const PATIENCE: Duration = Duration::from_millis(5);

/// An answer of the thread.
#[derive(Debug)]
pub enum Answer {
    /// To a question.
    Made {
        /// Number of the question.
        number: u64,
        /// The schedule, or why there is none.
        made: Result<Arc<Made>, String>,
    },
    /// What was found out beside, once the schedule was out.
    Priced(Priced),
}

/// Asks the thread, one question at a time.
pub struct Solver {
    answers: UnboundedSender<Answer>,
    pulse: Pulse,
    thread: Option<Thread>,
    asked: Option<(u64, Instant)>,
    next: u64,
    left: usize,
}

/// A thread that answers until nobody can ask any more.
struct Thread {
    questions: Sender<(u64, Snapshot)>,
    handle: JoinHandle<()>,
}

impl Solver {
    /// Answers will go there, and signs of life of the thread.
    pub fn new(answers: UnboundedSender<Answer>, pulse: Pulse) -> Self {
        Self { answers, pulse, thread: None, asked: None, next: 0, left: 0 }
    }

    /// Asks for a schedule.
    ///
    /// # Errors
    /// If too many threads hang already.
    pub fn ask(&mut self, snapshot: Snapshot) -> Result<(), String> {
        if self.left > MOST_LEFT {
            let text = "the solver hung too often; restart the service and report the log";
            return Err(text.to_owned());
        }
        self.next += 1;
        let number = self.next;
        let thread = self.thread.take().map_or_else(|| self.start(), Ok)?;
        let sent = thread.questions.send((number, snapshot));
        self.thread = Some(thread);
        if sent.is_err() {
            self.thread = None;
            return Err("the solver's thread ended; it is started again".to_owned());
        }
        self.asked = Some((number, Instant::now()));
        Ok(())
    }

    /// Whether a question waits for its answer.
    pub fn is_busy(&self) -> bool {
        self.asked.is_some()
    }

    /// Whether a schedule is the one that was asked for last.
    pub fn takes(&mut self, number: u64) -> bool {
        self.asked.take_if(|(asked, _)| *asked == number).is_some()
    }

    /// Whether the thread is over its limit; it is then left behind, and its answer
    /// not taken when it comes.
    pub fn is_overdue(&mut self) -> bool {
        let overdue = self.asked.take_if(|(_, since)| since.elapsed() > LIMIT).is_some();
        if overdue {
            self.thread = None;
            self.left += 1;
        }
        overdue
    }

    /// Asks nothing more and waits for the thread until then. The process must not end
    /// while HiGHS works: what it shares between threads is taken down at the end, and
    /// the process then died of a signal.
    pub fn close(&mut self, until: Instant) {
        let Some(Thread { questions, handle }) = self.thread.take() else { return };
        drop(questions);
        while !handle.is_finished() && Instant::now() < until {
            std::thread::sleep(PATIENCE);
        }
    }

    fn start(&self) -> Result<Thread, String> {
        let (sender, questions) = channel::<(u64, Snapshot)>();
        let (answers, pulse) = (self.answers.clone(), self.pulse.clone());
        let handle = std::thread::Builder::new()
            .name(SOLVER_THREAD.to_owned())
            .spawn(move || {
                let mut planner = Planner::default();
                loop {
                    pulse.beat();
                    let (number, snapshot) = match questions.recv_timeout(BEAT) {
                        Ok(question) => question,
                        Err(RecvTimeoutError::Timeout) => continue,
                        Err(RecvTimeoutError::Disconnected) => return,
                    };
                    let made = caught(&mut planner, |planner| make(&snapshot, planner));
                    let made = made.map(Arc::new);
                    let made_now = made.as_ref().ok().map(Arc::clone);
                    if answers.send(Answer::Made { number, made }).is_err() {
                        return;
                    }
                    let priced = made_now
                        .map(|made| caught(&mut planner, |p| Ok(price(&snapshot, &made, p))));
                    for priced in priced.into_iter().flatten().flatten() {
                        let _ended = answers.send(Answer::Priced(priced));
                    }
                }
            })
            .map_err(|error| format!("no thread for the solver: {error}"))?;
        Ok(Thread { questions: sender, handle })
    }
}
