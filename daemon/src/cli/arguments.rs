//! What can be typed.

use std::path::PathBuf;

use crate::service::settings::LogFormat;
use clap::{Args, Parser, Subcommand};

/// Plans heat stores, battery and PV against electricity prices.
#[derive(Debug, Parser)]
#[command(name = "stowheat", version, propagate_version = true, after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(subcommand)]
    pub(super) command: Command,
}

const EXAMPLES: &str = "Examples:
  stowheat plan                                   the demo house that is built in
  stowheat check house.toml                       what the site file means, and what is wrong with it
  stowheat plan house.toml --prices prices.csv --at 2023-07-02T06:00:00+01:00
  stowheat plan house.toml --prices prices.csv --chart plan.svg --explain bottom@13:00
  stowheat replay house.toml --prices prices.csv --weather weather.csv --from 2023-01-01 --to 2023-01-31
  stowheat size house.toml --prices prices.csv --weather weather.csv \
      --vary store.cylinder.element.bottom.power_kw=3,6,9 --report study.html
  stowheat run house.toml                         the background service, over MQTT

Exit codes: 0 done, 1 failed, 64 usage, 65 bad data file, 70 panic, 78 bad site file.";

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Plan the next two days, once
    Plan(Box<Plan>),
    /// Live through past data in a closed loop, beside the rules people have today
    Replay(Box<Replay>),
    /// Find out over past data what hardware would have been worth
    Size(Box<Size>),
    /// Run the background service of a site until it is told to stop
    Run(Run),
    /// Say what a site file means and everything that is wrong with it
    Check(Check),
    /// Print the JSON Schema of a file or document
    Schema(Schema),
    /// Ask the running service of a site whether it is ready
    Health(Health),
    /// Print what completes this program's words in a shell
    Completions(Completions),
    /// Print the manual page of the program or of a command, for man(1)
    Manual(Manual),
}

/// Arguments of `plan`.
#[derive(Debug, Args)]
pub(super) struct Plan {
    /// Site file; without it, the demo house
    pub(super) site: Option<PathBuf>,
    #[command(flatten)]
    pub(super) inputs: Inputs,
    /// Plan from this instant, as 2023-07-02T06:00:00+01:00; now if left out
    #[arg(long, value_name = "TIME")]
    pub(super) at: Option<String>,
    /// Print the schedule as JSON (see `stowheat schema plan`)
    #[arg(long)]
    pub(super) json: bool,
    /// Explain a decision of a heater or a source, as bottom@13:00; without a value, the present slot
    #[arg(long, value_name = "NAME@TIME", num_args = 0..=1, default_missing_value = "")]
    pub(super) explain: Option<String>,
    /// Write the plan as a chart
    #[arg(long, value_name = "FILE.svg")]
    pub(super) chart: Option<PathBuf>,
}

/// The series that plans and replays live on.
#[derive(Debug, Args)]
pub(super) struct Inputs {
    /// Prices that the tariff follows, a CSV series
    #[arg(long, value_name = "FILE")]
    pub(super) prices: Option<PathBuf>,
    /// Column of the price file, instead of the one the site names
    #[arg(long, value_name = "HEADER")]
    pub(super) price_column: Option<String>,
    /// Weather: a CSV series, EPW, TMY3, or the hourly output of PVGIS
    #[arg(long, value_name = "FILE")]
    pub(super) weather: Option<PathBuf>,
    /// PV energy or power, a CSV series
    #[arg(long, value_name = "FILE")]
    pub(super) pv: Option<PathBuf>,
    /// Base load, a CSV series
    #[arg(long, value_name = "FILE")]
    pub(super) load: Option<PathBuf>,
    /// Hot-water draws, a CSV series of litres
    #[arg(long, value_name = "FILE")]
    pub(super) draws: Option<PathBuf>,
}

/// Arguments of `replay`.
#[derive(Debug, Args)]
pub(super) struct Replay {
    /// Site file
    pub(super) site: PathBuf,
    #[command(flatten)]
    pub(super) inputs: Inputs,
    /// Column of the draws file
    #[arg(long, value_name = "HEADER")]
    pub(super) draws_column: Option<String>,
    /// First local day, as 2023-07-02; the first whole day of the prices if left out
    #[arg(long, value_name = "DAY")]
    pub(super) from: Option<String>,
    /// Last local day; the last whole day of the prices if left out
    #[arg(long, value_name = "DAY")]
    pub(super) to: Option<String>,
    /// Print the replay as JSON (see `stowheat schema replay`)
    #[arg(long)]
    pub(super) json: bool,
    /// Print one local day slot by slot, to check the sums by hand
    #[arg(long, value_name = "DAY", conflicts_with = "json")]
    pub(super) day: Option<String>,
    /// Leave out the cost that knowing everything would have had
    #[arg(long)]
    pub(super) no_bound: bool,
    /// Write a page that the customer can keep
    #[arg(long, value_name = "FILE.html")]
    pub(super) report: Option<PathBuf>,
}

/// Arguments of `size`.
#[derive(Debug, Args)]
#[command(after_help = SIZE_EXAMPLES)]
pub(super) struct Size {
    /// Site file of the house
    pub(super) site: PathBuf,
    /// Numbers of the site file to try; several make a grid. KEY+KEY=V+W,V+W
    /// varies keys in step; a battery or element of size 0 is left out
    #[arg(long, value_name = "KEY=V1,V2,…")]
    pub(super) vary: Vec<String>,
    /// Try the values of each --vary by themselves, not every combination
    #[arg(long)]
    pub(super) one_at_a_time: bool,
    /// A number in which the house as it stands differs from the site file
    #[arg(long, value_name = "KEY=V")]
    pub(super) present: Vec<String>,
    /// A number of the site file as it was measured, such as the heat loss of the
    /// rooms: the study rests on it, and shows what the file's number would have said
    #[arg(long, value_name = "KEY=V")]
    pub(super) measured: Vec<String>,
    /// Things to buy and their prices, a TOML file
    #[arg(long, value_name = "FILE")]
    pub(super) options: Option<PathBuf>,
    /// Prices that the tariff follows, a CSV series; each file is a world of its
    /// own, and may have a name on the page
    #[arg(long, value_name = "[NAME=]FILE")]
    pub(super) prices: Vec<PathBuf>,
    /// Hours by which the prices of each file come later, so that the day of a
    /// far market falls on the house's
    #[arg(long, value_name = "HOURS", allow_negative_numbers = true,
        value_parser = clap::value_parser!(i64).range(-24..=24))]
    pub(super) prices_later: Vec<i64>,
    /// Column of the price files, instead of the one the site names
    #[arg(long, value_name = "HEADER")]
    pub(super) price_column: Option<String>,
    /// Weather for all prices, or one for each price file in order
    #[arg(long, value_name = "FILE")]
    pub(super) weather: Vec<PathBuf>,
    /// PV energy or power, a CSV series
    #[arg(long, value_name = "FILE")]
    pub(super) pv: Option<PathBuf>,
    /// Base load, a CSV series
    #[arg(long, value_name = "FILE")]
    pub(super) load: Option<PathBuf>,
    /// Hot-water draws, a CSV series of litres
    #[arg(long, value_name = "FILE")]
    pub(super) draws: Option<PathBuf>,
    /// Column of the draws file
    #[arg(long, value_name = "HEADER")]
    pub(super) draws_column: Option<String>,
    /// What one of another currency is in the site's, for prices in it
    #[arg(long, value_name = "AUD=0.52")]
    pub(super) exchange: Vec<String>,
    /// First local day, as 2023-07-02, or 07-02 of each price file's year; several
    /// with as many --to are parts of a year, each of which stands for the days around it
    #[arg(long, value_name = "DAY")]
    pub(super) from: Vec<String>,
    /// Last local day, likewise
    #[arg(long, value_name = "DAY")]
    pub(super) to: Vec<String>,
    /// Live through so many weeks of each year only, spread evenly: 12, or 12x2 for
    /// twelve times two days. Yearly figures then carry their sampling error
    #[arg(long, value_name = "N[xDAYS]")]
    pub(super) sample: Option<String>,
    /// Print the study as JSON (see `stowheat schema study`)
    #[arg(long)]
    pub(super) json: bool,
    /// Write the page that the customer keeps
    #[arg(long, value_name = "FILE.html")]
    pub(super) report: Option<PathBuf>,
    /// Do only a part of the work, as 2/8
    #[arg(long, value_name = "I/N", conflicts_with_all = ["merge", "json", "report"])]
    pub(super) shard: Option<String>,
    /// Join what was kept, and compute nothing
    #[arg(long)]
    pub(super) merge: bool,
    /// Folder of kept results; the site file's name with `.study` if left out.
    /// More folders are only read
    #[arg(long, value_name = "FOLDER")]
    pub(super) state: Vec<PathBuf>,
    /// Threads to work on; as many as there are cores if left out
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1_024))]
    pub(super) threads: Option<u16>,
}

const SIZE_EXAMPLES: &str = "Examples:
  stowheat size house.toml --prices 2023.csv --prices 2024.csv --weather weather.csv \\
      --vary store.cylinder.element.bottom.power_kw=3,6,9 --vary battery.capacity_kwh=0,8 \\
      --options options.toml --report study.html
  stowheat size house.toml … --sample 12          one week a month stands for the year
  stowheat size house.toml … --shard 3/8          one part of eight, on one machine of many
  stowheat size house.toml … --merge --json       the whole, from kept parts";

/// Arguments of `run`.
#[derive(Debug, Clone, Args)]
pub(super) struct Run {
    /// Site file with a `[service]` table
    pub(super) site: PathBuf,
    /// Form of the log, instead of the one the site file names
    #[arg(long, value_enum)]
    pub(super) log_format: Option<LogFormat>,
    /// Only show what would be done, below `shadow/`: switch nothing, take no commands
    #[arg(long)]
    pub(super) shadow: bool,
    /// For trials: run on an invented clock that starts at this instant
    #[arg(long, value_name = "TIME", hide = true)]
    pub(super) clock_from: Option<String>,
    /// For trials: seconds of the invented clock in a second
    #[arg(
        long, value_name = "N", hide = true, default_value_t = 1, requires = "clock_from",
        value_parser = clap::value_parser!(u32).range(1..=10_000)
    )]
    pub(super) clock_rate: u32,
}

/// Arguments of `check`.
#[derive(Debug, Args)]
pub(super) struct Check {
    /// Site file
    pub(super) site: PathBuf,
}

/// Arguments of `schema`.
#[derive(Debug, Args)]
pub(super) struct Schema {
    /// Which one
    #[arg(value_enum)]
    pub(super) of: SchemaOf,
}

/// What has a schema.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub(super) enum SchemaOf {
    /// The site file
    Site,
    /// The schedule that `plan --json` prints
    Plan,
    /// What `replay --json` prints
    Replay,
    /// What `size --json` prints
    Study,
}

/// Arguments of `health`.
#[derive(Debug, Args)]
pub(super) struct Health {
    /// Site file of the service
    pub(super) site: PathBuf,
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub(super) struct Completions {
    /// Shell
    #[arg(value_enum)]
    pub(super) shell: clap_complete::Shell,
}

/// Arguments of `manual`.
#[derive(Debug, Args)]
pub(super) struct Manual {
    /// Command; the program itself if left out
    pub(super) command: Option<String>,
}
