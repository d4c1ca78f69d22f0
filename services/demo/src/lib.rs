//! A plant at work for somebody who wants to see one: a client of the public REST API alone.
//! It never writes around the doors, and never into a plant whose clock is real.

mod calendar;
mod client;
mod ids;
mod mass;
mod physics;
mod server;
mod tables;
mod told;
mod week;
mod work;

use std::error::Error;
use std::net::SocketAddr;
use std::path::PathBuf;

use clap::Args;
use jiff::Timestamp;
use platform::clock::Clock;
use tokio::runtime::Runtime;

use calendar::Calendar;
use client::Plant;
use server::{Server, Stop};
use week::Week;

/// Whatever went wrong, in words for a person.
pub type Failed = Box<dyn Error + Send + Sync>;
/// What most steps give.
pub type Done = Result<(), Failed>;

/// Where the demo plant is kept and how much of its week is worked.
#[derive(Args)]
pub struct Arguments {
    /// The demo's own data folder, made as simulated; one of a real plant is refused.
    #[arg(long, env = "HANKBOOK_DEMO_DIR")]
    data_dir: Option<PathBuf>,
    /// Where REST listens; port 0 picks one and prints it.
    #[arg(long, env = "HANKBOOK_HTTP", default_value = "127.0.0.1:8080")]
    http: SocketAddr,
    /// Where gRPC listens; port 0 picks one and prints it.
    #[arg(long, env = "HANKBOOK_GRPC", default_value = "127.0.0.1:8081")]
    grpc: SocketAddr,
    /// Go on: the clock runs on in real time, and what the day still holds is worked.
    #[arg(long)]
    live: bool,
    /// Remove the demo that is in the folder, and work a new week up to now.
    #[arg(long, conflicts_with = "join")]
    anew: bool,
    /// Production days before the last one.
    #[arg(long, default_value_t = 4)]
    #[arg(value_parser = clap::value_parser!(u8).range(1..=4))]
    days: u8,
    /// When the week ends; left out, now.
    #[arg(long, value_name = "INSTANT")]
    ends_at: Option<Timestamp>,
    /// What chance is made of: the same number makes the same week.
    #[arg(long, default_value_t = 7)]
    seed: u64,
    /// Work in a running, simulated plant that nobody has worked in, as http://127.0.0.1:8080.
    #[arg(long, value_name = "ADDRESS", requires = "administrator_password")]
    join: Option<String>,
    /// The one-time password of the administrator that the plant to join has printed.
    #[arg(long, env = "HANKBOOK_DEMO_PASSWORD", hide_env_values = true)]
    administrator_password: Option<String>,
    /// Stop the server once the week is worked.
    #[arg(long, conflicts_with = "live")]
    stop: bool,
}

/// Works the week and serves it until it is told to stop.
pub fn run(arguments: &Arguments, default_folder: PathBuf) -> Done {
    Runtime::new()?.block_on(start(arguments, default_folder))
}

async fn start(arguments: &Arguments, default_folder: PathBuf) -> Done {
    let ends_at = arguments.ends_at.unwrap_or_else(|| Clock::of_the_machine().now());
    let calendar = Calendar::ending_at(ends_at, usize::from(arguments.days))?;
    if let Some(address) = &arguments.join {
        let password = arguments.administrator_password.as_deref().unwrap_or_default();
        let plant = Plant::joined(address, arguments.seed, calendar.opens_at()).await?;
        let mut week = worked(plant, password, (calendar, arguments.seed)).await?;
        return if arguments.live { week.live(&mut Stop::on_signals()?).await } else { Ok(()) };
    }
    let folder = arguments.data_dir.clone().unwrap_or(default_folder);
    if arguments.anew {
        server::forget(&folder)?;
    }
    let mut stop = Stop::on_signals()?;
    let addresses = (arguments.http, arguments.grpc);
    let mut server = Server::start(&folder, addresses, calendar.opens_at())?;
    let served = serve(arguments, &mut server, (calendar, &mut stop)).await;
    server.stop()?;
    served
}

async fn serve(
    arguments: &Arguments,
    server: &mut Server,
    (calendar, stop): (Calendar, &mut Stop),
) -> Done {
    let mut week = match server.first_password.take() {
        Some(password) => {
            let plant = Plant::joined(&server.http, arguments.seed, calendar.opens_at()).await?;
            server.mark("begun")?;
            let week = tokio::select! {
                week = worked(plant, &password, (calendar, arguments.seed)) => week?,
                () = stop.asked() => return Err("stopped before the week was worked".into()),
            };
            server.mark("worked")?;
            Some(week)
        }
        None => {
            server.must_be_worked()?;
            println!("The week was worked before, up to the instant at which it stopped.");
            println!("With --anew it is removed, and a new one is worked up to now.");
            None
        }
    };
    told::open(&server.http, server.folder());
    if arguments.stop {
        return Ok(());
    }
    println!("Stop it with Ctrl-C.");
    match (&mut week, arguments.live) {
        (Some(week), true) => week.live(stop).await,
        (None, true) => Week::only_clock(&server.http).await?.live(stop).await,
        (_, false) => {
            tokio::select! {
                () = stop.asked() => Ok(()),
                ended = server.ended() => ended,
            }
        }
    }
}

async fn worked(
    plant: Plant,
    password: &str,
    (calendar, seed): (Calendar, u64),
) -> Result<Week, Failed> {
    let begun = platform::clock::monotonic();
    let mut week = Week::new(plant, calendar, seed);
    week.set_up(password).await?;
    week.work().await?;
    told::worked(&week, begun.elapsed());
    Ok(week)
}
