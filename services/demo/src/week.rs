//! The week as it is worked: what is where, and what comes next at which minute.
//! It never does a thing before its time has come on the plant's clock.

use std::collections::{BTreeMap, HashMap, VecDeque};
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use platform::clock::monotonic;

use crate::calendar::Calendar;
use crate::client::{ADMINISTRATOR, Plant};
use crate::ids::Chance;
use crate::mass::Mass;
use crate::physics::house::Cooked;
use crate::physics::{Programme, Shown};
use crate::server::Stop;
use crate::tables::people::PASSWORD;
use crate::{Done, Failed};

/// How often a live clock is moved on.
const TICK: Duration = Duration::from_secs(5);
/// How often houses send what their probes have shown while it is live.
const LIVE_SEND: SignedDuration = SignedDuration::from_secs(60);

/// Something to do, in the order of the day.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Task {
    /// People sign in, thermometers are held into ice.
    Morning(usize),
    /// By its place in the table of receivings.
    Receive(usize),
    /// The kits of batches that are mixed next.
    Kits(Vec<usize>),
    Mix(usize),
    Hang(usize),
    /// A load goes into its house.
    Load(usize),
    /// A house sends what its probes have shown.
    Send(usize),
    /// Somebody looks at a product of a load.
    Look(usize, usize),
    Pull(usize, usize),
    /// Close the deviation of a cook that was cut short, and load its racks again.
    Recook(usize, usize),
    /// Somebody reads a chill by hand, so many seconds after the pull.
    ReadChill(usize, usize, i64),
    /// A logger is read out up to so many seconds after the pull.
    ReadLogger(usize, usize, i64),
    /// The lines are set up for the day.
    PlanPacking(usize),
    /// A line's detector is challenged for a lot, and finds every piece or not.
    Challenge(usize, bool),
    PackOff(usize),
    /// Cases of a lot, from one to before another.
    Cases(usize, usize, usize),
    Pallets(usize),
    /// The inspector samples a lot: it is held.
    Sample(usize),
    /// The result has come.
    Result(usize),
    Review(usize),
    /// Temperatures at the dock.
    Loading(usize),
    /// A truck of the day.
    Truck(usize, usize),
    /// What stood in a lot's way is mended, and it leaves.
    Mend(usize),
    /// The disposition of the chill that failed.
    Destroy(usize, usize),
}

/// A batch of the week.
#[derive(Clone, Debug)]
pub struct Batch {
    pub day: usize,
    /// By its place among the batches of its day.
    pub slot: usize,
    pub product: usize,
    pub kit: Option<(String, Mass)>,
    pub lot: String,
    pub mass: Mass,
    pub racks: Vec<Rack>,
}

/// A rack of a batch: its lot, and how much hangs on it.
#[derive(Clone, Debug)]
pub struct Rack {
    pub lot: String,
    pub mass: Mass,
}

/// A product of a load.
#[derive(Clone, Debug)]
pub struct Group {
    pub product: usize,
    /// Its racks, by batch and place.
    pub racks: Vec<(usize, usize)>,
    /// Its probes with what each shows, and in which of its racks.
    pub probes: Vec<(String, usize, Cooked)>,
    /// Seconds from the load to the pull.
    pub pull_s: i64,
    /// Pulled below the limit.
    pub is_cut_short: bool,
    pub is_pulled: bool,
    /// What the core shows from the pull on.
    pub chill: Vec<Shown>,
    pub chill_sent_s: i64,
}

/// A load of the week.
#[derive(Clone, Debug)]
pub struct Load {
    pub day: usize,
    pub at: Timestamp,
    pub house: &'static str,
    pub batches: Vec<usize>,
    pub programme: Programme,
    pub id: String,
    pub groups: Vec<Group>,
    pub air: [Vec<Shown>; 2],
    pub sent_s: i64,
    /// The racks of a cook that was cut short, where it is one that is cooked again.
    pub again: Option<(usize, usize)>,
}

/// What stands in the way of a lot at the dock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// Nobody looked at its cook once.
    MissedLook,
    /// Warm at the truck.
    Warm,
    /// Packed before a challenge that failed.
    Doubtful,
    /// The inspector's sample.
    Sampled,
}

/// A finished lot.
#[derive(Clone, Debug)]
pub struct Finished {
    pub day: usize,
    pub product: usize,
    pub line: usize,
    /// Racks by batch and place; of a fresh product none.
    pub racks: Vec<(usize, usize)>,
    pub batches: Vec<usize>,
    pub lot: String,
    /// Serials with when each was packed.
    pub cases: Vec<(String, Timestamp)>,
    pub begins_at: Timestamp,
    pub pallets: Vec<String>,
    /// Pallets that a truck had to leave, with the customer that waits for them.
    pub waiting: Vec<(String, usize)>,
    /// Serials that no challenge proves.
    pub doubtful: Vec<String>,
    pub trouble: Option<Trouble>,
    /// The hold of a sample.
    pub hold: String,
}

/// Plans by what they bind.
#[derive(Clone, Debug, Default)]
pub struct Plans {
    pub chilled: String,
    pub dry: String,
    pub packaging: String,
    pub cured_kit: String,
    pub plain_kit: String,
    pub products: Vec<String>,
}

/// What was made, for the words at the end.
#[derive(Clone, Debug, Default)]
pub struct Counts {
    pub receivings: usize,
    pub batches: usize,
    pub loads: usize,
    pub shipments: usize,
    pub refused: usize,
    pub deviations: usize,
    pub cases: usize,
}

/// The week.
pub struct Week {
    pub plant: Plant,
    pub calendar: Option<Calendar>,
    /// Chance of what happens, apart from that of ids.
    pub chance: Chance,
    pub places: HashMap<&'static str, String>,
    pub instruments: HashMap<&'static str, (String, f64)>,
    pub suppliers: Vec<String>,
    pub customers: Vec<String>,
    pub plans: Plans,
    /// Of formulas, by name.
    pub materials: HashMap<&'static str, String>,
    /// By the place of their product.
    pub formulas: Vec<String>,
    /// What is on hand of each material, the oldest first.
    pub stock: HashMap<&'static str, VecDeque<(String, Mass)>>,
    /// The tub of rework.
    pub rework: Option<(String, Mass)>,
    pub batches: Vec<Batch>,
    pub loads: Vec<Load>,
    pub finished: Vec<Finished>,
    pub pallets_built: usize,
    pub counts: Counts,
    queue: BTreeMap<(Timestamp, usize), Task>,
    queued: usize,
}

impl Week {
    /// A week in which nothing has happened.
    pub fn new(plant: Plant, calendar: Calendar, seed: u64) -> Self {
        let calendar = Some(calendar);
        // Ids have a chance of their own, so that one more record changes nothing that happens.
        let chance = Chance::new(seed.wrapping_add(1));
        Self { calendar, ..Self::empty(plant, chance) }
    }

    /// A plant that was worked before: nothing is left to do but to move its clock.
    pub async fn only_clock(base: &str) -> Result<Self, Failed> {
        let plant = Plant::joined(base, 0, Timestamp::UNIX_EPOCH).await?;
        let mut week = Self::empty(plant, Chance::new(0));
        let session = week.plant.sign_in(ADMINISTRATOR, PASSWORD).await?;
        // A session lasts a whole day from the instant at which it is opened or refreshed.
        let until: Timestamp = session["refreshUntil"].as_str().unwrap_or_default().parse()?;
        week.plant.now = until - SignedDuration::from_hours(24);
        week.plant.sign_in(ADMINISTRATOR, PASSWORD).await?;
        Ok(week)
    }

    fn empty(plant: Plant, chance: Chance) -> Self {
        Self {
            plant,
            calendar: None,
            chance,
            places: HashMap::new(),
            instruments: HashMap::new(),
            suppliers: Vec::new(),
            customers: Vec::new(),
            plans: Plans::default(),
            materials: HashMap::new(),
            formulas: Vec::new(),
            stock: HashMap::new(),
            rework: None,
            batches: Vec::new(),
            loads: Vec::new(),
            finished: Vec::new(),
            pallets_built: 0,
            counts: Counts::default(),
            queue: BTreeMap::new(),
            queued: 0,
        }
    }

    /// Puts something to do at an instant.
    pub fn put(&mut self, at: Timestamp, task: Task) {
        self.queued += 1;
        self.queue.insert((at, self.queued), task);
    }

    /// The same some minutes from now.
    pub fn put_in(&mut self, minutes: i64, task: Task) {
        self.put(self.plant.now + SignedDuration::from_mins(minutes), task);
    }

    /// The instant of a time of the tables on a day.
    pub fn when(&self, day: usize, time: &str) -> Timestamp {
        self.calendar.as_ref().map_or(self.plant.now, |calendar| calendar.at(day, time))
    }

    /// The last day, which ends in the middle of a morning.
    pub fn last_day(&self) -> usize {
        self.calendar.as_ref().map_or(0, |calendar| calendar.days() - 1)
    }

    /// The day that lies so many before the last; none where the week is shorter.
    pub fn before_last(&self, days: usize) -> Option<usize> {
        self.last_day().checked_sub(days)
    }

    /// Works everything up to the week's end, where the clock then stands.
    pub async fn work(&mut self) -> Done {
        let end = self.calendar.as_ref().map_or(self.plant.now, Calendar::ends_at);
        self.work_until(end).await?;
        self.send_running().await
    }

    /// Sends what the probes of every house that cooks have shown up to now.
    async fn send_running(&mut self) -> Done {
        for load in 0..self.loads.len() {
            let of = &self.loads[load];
            let is_running = of.groups.iter().any(|group| !group.is_pulled);
            if is_running && of.at <= self.plant.now {
                self.send(load).await?;
            }
        }
        Ok(())
    }

    async fn work_until(&mut self, end: Timestamp) -> Done {
        while let Some(entry) = self.queue.first_entry() {
            let at = entry.key().0;
            if at > end {
                break;
            }
            let task = entry.remove();
            self.plant.move_to(at).await?;
            self.one(task).await?;
        }
        self.plant.move_to(end).await
    }

    /// Goes on in real time until it is told to stop.
    pub async fn live(&mut self, stop: &mut Stop) -> Done {
        let (from, begun) = (self.plant.now, monotonic());
        let mut sent_at = from;
        loop {
            tokio::select! {
                () = stop.asked() => return Ok(()),
                () = tokio::time::sleep(TICK) => {}
            }
            let passed = SignedDuration::try_from(begun.elapsed())?;
            self.work_until(from + passed).await?;
            if self.plant.now.duration_since(sent_at) >= LIVE_SEND {
                sent_at = self.plant.now;
                self.send_running().await?;
            }
        }
    }

    async fn one(&mut self, task: Task) -> Done {
        match task {
            Task::Morning(day) => self.morning(day).await,
            Task::Receive(row) => self.receive(row).await,
            Task::Kits(batches) => self.weigh_kits(&batches).await,
            Task::Mix(batch) => self.mix(batch).await,
            Task::Hang(batch) => self.hang(batch).await,
            Task::Load(load) => self.load(load).await,
            Task::Send(load) => self.send(load).await,
            Task::Look(load, group) => self.look(load, group).await,
            Task::Pull(load, group) => self.pull(load, group).await,
            Task::Recook(load, group) => self.recook(load, group).await,
            Task::ReadChill(load, group, second) => self.read_chill((load, group), second).await,
            Task::ReadLogger(load, group, second) => self.read_logger((load, group), second).await,
            Task::PlanPacking(day) => self.plan_packing(day),
            Task::Challenge(line, is_good) => self.challenge(line, is_good).await,
            Task::PackOff(lot) => self.pack_off(lot).await,
            Task::Cases(lot, from, to) => self.cases(lot, (from, to)).await,
            Task::Pallets(day) => self.pallets(day).await,
            Task::Sample(lot) => self.sample(lot).await,
            Task::Result(lot) => self.result(lot).await,
            Task::Review(day) => self.review_day(day).await,
            Task::Loading(day) => self.loading(day).await,
            Task::Truck(day, truck) => self.truck(day, truck).await,
            Task::Mend(lot) => self.mend(lot).await,
            Task::Destroy(load, group) => self.destroy(load, group).await,
        }
    }

    /// The rack of a batch.
    pub fn rack(&self, (batch, rack): (usize, usize)) -> &Rack {
        &self.batches[batch].racks[rack]
    }

    /// The lots of racks.
    pub fn rack_lots(&self, racks: &[(usize, usize)]) -> Vec<String> {
        racks.iter().map(|at| self.rack(*at).lot.clone()).collect()
    }
}
