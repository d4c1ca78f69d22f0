//! The client of the benchmarks: makes a plant ready, sends readings, ships, asks for pages.
//! It never judges a number: it prints what it measured.

#[path = "load/docks.rs"]
mod docks;
#[path = "load/pages.rs"]
mod pages;
#[path = "load/readings.rs"]
mod readings;
#[path = "load/starts.rs"]
mod starts;

use std::env;
use std::path::Path;
use std::process::ExitCode;

use harness::dock::ROLES;
use harness::stock::{self, Worker};
use platform::clock::Clock;
use platform::tokens::Signer;
use uuid::Uuid;

use docks::Hall;
use readings::{Door, Target};

/// Lots that readings are spread over.
const LOTS: u128 = 64;
/// The first lot's id less one, so that pgbench can count them too: version 7, invented time.
const FIRST_LOT: u128 = 0x0198_0000_0000_7000_8000_0000_0000_0000;
/// How it is called.
const USAGE: &str = "usage: load prepare|token HTTP KEY | load rest|grpc ADDRESS KEY PLAN CLIENTS SECONDS \
    | load starts PROGRAM FOLDER TIMES used|empty | load docks HTTP KEY DOCKS ROUNDS \
    | load closure HTTP KEY LOTS | load pages HTTP TIMES FOLDER";

fn worker(http: &str, key: &str) -> Worker {
    let signer = Signer::open_or_create(Path::new(key)).expect("the plant's key");
    let at = Clock::of_the_machine().now();
    Worker::new(http, signer, &ROLES, at)
}

/// A hall whose workers have fresh tokens.
async fn hall(http: &str, key: &str) -> Hall {
    let (http, key) = (http.to_owned(), key.to_owned());
    Hall::open(move || worker(&http, &key)).await
}

fn lots() -> Vec<Uuid> {
    (1..=LOTS).map(|number| Uuid::from_u128(FIRST_LOT + number)).collect()
}

#[tokio::main]
async fn main() -> ExitCode {
    let arguments: Vec<String> = env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["prepare", http, key] => {
            let stock = stock::receive(&worker(http, key), lots()).await;
            println!("{}", stock.plan);
        }
        ["token", http, key] => {
            println!("{}", worker(http, key).client.token().unwrap_or_default());
        }
        [door @ ("rest" | "grpc"), address, key, plan, clients, seconds] => {
            let token = worker(address, key).client.token().unwrap_or_default().to_owned();
            let plan = plan.parse().expect("a plan");
            let door = if *door == "rest" { Door::Rest } else { Door::Grpc };
            let target = Target { door, address: (*address).to_owned(), token, plan, lots: lots() };
            let clients = clients.parse().expect("a number of clients");
            let seconds = seconds.parse().expect("a number of seconds");
            println!("{}", readings::run(target, clients, seconds).await);
        }
        ["starts", program, folder, times, kind] => {
            let times = times.parse().expect("a number of starts");
            println!("{}", starts::measure(program, Path::new(folder), times, *kind == "used"));
        }
        ["docks", http, key, docks, rounds] => {
            let (docks, rounds) = (docks.parse().expect("docks"), rounds.parse().expect("rounds"));
            let took = hall(http, key).await.docks(docks, rounds).await;
            println!("{:.1} {:.1}", took[took.len() / 2], took[took.len() - 1]);
        }
        ["closure", http, key, lots] => {
            let lots = lots.parse().expect("a number of lots");
            let (behind, reviewed, shipped) = hall(http, key).await.closure(lots).await;
            println!("{behind} {reviewed:.2} {shipped:.2}");
        }
        ["pages", http, times, folder] => {
            let times = times.parse().expect("a number of times");
            pages::run(http, times, Path::new(folder)).await;
        }
        _ => {
            eprintln!("{USAGE}");
            return ExitCode::from(2);
        }
    }
    ExitCode::SUCCESS
}
