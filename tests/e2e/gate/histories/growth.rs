//! A small plant as one history has it: lots made of lots, their checks read, cases on pallets.
//! It never makes more of a lot than there is: each use takes an eighth of it, six at most.

use domain::haccp::gate::question::{Kind, Lot, LotKind};
use domain::verdict::Verdict;
use serde_json::{Value, json};

use super::ledger::{Case, Ledger, MadeLot};
use super::plans::{self, PRODUCT, RECEIVED, STOCK};
use super::random::Rng;
use super::site::{Call, Site, grams, id, word};

const USES_MAX: u64 = 6;
/// Enough for an eighth of an eighth, seven times.
const RECEIVED_G: u64 = 2_097_152;
const CASE_G: u64 = 100;

/// One history while it is played.
pub struct History {
    pub ledger: Ledger,
    pub rng: Rng,
    /// The ids of its plans, in the order of the ledger's.
    pub plans: Vec<String>,
    /// Its two detectors.
    pub places: Vec<String>,
    /// When it began, in microseconds.
    pub began: i64,
    /// How many in a thousand checks are not simply met.
    pub faults: u64,
    pub refused: usize,
}

impl History {
    /// A plant with lots, most of their checks met, in cases on pallets.
    pub async fn grown(site: &mut Site, mut rng: Rng) -> Self {
        site.later(60).await;
        let product = plans::product(&mut rng);
        let plans = vec![
            site.received.clone(),
            site.stock.clone(),
            site.plan(&plans::content(&product)).await,
        ];
        let mut places = Vec::new();
        for name in ["Detector 1", "Detector 2"] {
            places.push(site.place(name, "metal_detector").await);
        }
        let faults = rng.pick(&[0, 40, 120, 250]);
        let ledger =
            Ledger { plans: vec![plans::received(), plans::stock(), product], ..Ledger::default() };
        let began = site.at();
        let mut history = Self { ledger, rng, plans, places, began, faults, refused: 0 };
        history.grow(site).await;
        history.read_all(site).await;
        history.pack_all(site).await;
        history
    }

    async fn grow(&mut self, site: &mut Site) {
        for _ in 0..1 + self.rng.below(3) {
            self.receive(site).await;
        }
        if self.rng.chance(30) {
            self.take_up(site).await;
        }
        for _ in 0..1 + self.rng.below(2) {
            for _ in 0..1 + self.rng.below(2) {
                self.make(site, LotKind::Batch).await;
            }
            for _ in 0..1 + self.rng.below(2) {
                self.make(site, LotKind::Rack).await;
            }
            for _ in 0..1 + self.rng.below(2) {
                self.make(site, LotKind::Finished).await;
            }
            if self.rng.chance(70) {
                self.make(site, LotKind::Rework).await;
            }
        }
    }

    async fn receive(&mut self, site: &mut Site) {
        let lot = id();
        let body = json!({
            "id": lot, "material": "Pork trim", "supplier": site.supplier, "supplierLot": "H-1",
            "mass": grams(RECEIVED_G), "place": site.dock, "plan": site.received,
            "observedAt": site.now.to_string(),
        });
        let answer = self.taken(site, &Call::of("/v1/lots", body)).await;
        self.add(&answer["code"], (LotKind::Received, RECEIVED), (lot, String::new(), RECEIVED_G));
    }

    async fn take_up(&mut self, site: &mut Site) {
        let lot = id();
        let body = json!({
            "id": lot, "material": "Rope", "mass": grams(RECEIVED_G), "place": site.dock,
            "plan": site.stock, "observedAt": site.now.to_string(),
            "statement": "Counted at opening.",
        });
        let method = "hankbook.v1.Making/TakeUpOpeningStock";
        let call = Call::of("/v1/opening-stock", body).signed(method, format!("lot:{lot}"));
        let answer = self.taken(site, &call).await;
        let made = (lot, String::new(), RECEIVED_G);
        self.add(&answer["code"], (LotKind::OpeningStock, STOCK), made);
    }

    fn add(&mut self, code: &Value, of: (LotKind, usize), made: (String, String, u64)) -> usize {
        let lot = Lot { plan: Some(of.1), ..Lot::new(word(code), of.0) };
        self.ledger.lots.push(lot);
        let (id, made_by, grams) = made;
        self.ledger.made.push(MadeLot { id, made_by, grams, uses: 0 });
        self.ledger.lots.len() - 1
    }

    /// A call that must be taken.
    pub async fn taken(&mut self, site: &mut Site, call: &Call) -> Value {
        site.call(call, &mut self.rng).await.ok()
    }

    fn of(&self, kinds: &[LotKind]) -> Vec<usize> {
        let lots = 0..self.ledger.lots.len();
        lots.filter(|&lot| {
            kinds.contains(&self.ledger.lots[lot].kind) && self.ledger.made[lot].uses < USES_MAX
        })
        .collect()
    }

    /// Of which lots a new one is made: one or two of the usual kind, now and then an odd one.
    fn inputs(&mut self, kind: LotKind) -> Vec<usize> {
        use LotKind::{Batch, Finished, OpeningStock, Rack, Received, Rework};
        let (usual, odd): (&[_], &[_]) = match kind {
            Batch => (&[Received], &[Rework, OpeningStock, Rework]),
            Rack => (&[Batch], &[Rework, Received]),
            Finished => (&[Rack], &[OpeningStock, Finished, Batch]),
            _ => (&[Batch, Rack, Finished], &[]),
        };
        let often = if kind == Batch { 60 } else { 12 };
        let (usual, odd) = (self.of(usual), self.of(odd));
        let mut inputs: Vec<usize> =
            (0..1 + self.rng.below(2)).filter_map(|_| self.rng.some(&usual)).collect();
        if self.rng.chance(often) {
            inputs.extend(self.rng.some(&odd));
        }
        inputs.sort_unstable();
        inputs.dedup();
        inputs
    }

    /// Makes a lot; gives nothing where there is nothing to make it of.
    async fn make(&mut self, site: &mut Site, kind: LotKind) {
        let inputs = self.inputs(kind);
        if inputs.is_empty() {
            return;
        }
        let (lot, by) = (id(), id());
        let used: Vec<u64> =
            inputs.iter().map(|&input| self.ledger.made[input].grams / 8).collect();
        let mass: u64 = used.iter().sum();
        let said: Vec<Value> = inputs
            .iter()
            .zip(&used)
            .map(
                |(&input, used)| json!({ "lot": self.ledger.made[input].id, "mass": grams(*used) }),
            )
            .collect();
        let operation = match kind {
            LotKind::Batch => "mix",
            LotKind::Rack => "rack",
            LotKind::Finished => "pack_off",
            _ => "rework",
        };
        let output = json!({ "lot": lot, "kind": plans::kind_word(kind), "material": "Rope",
            "mass": grams(mass), "plan": self.plans[PRODUCT] });
        let body = json!({ "id": by, "kind": operation, "place": site.dock, "inputs": said,
            "outputs": [output], "observedAt": site.now.to_string() });
        let answer = self.taken(site, &Call::of("/v1/transformations", body)).await;
        let at = self.add(&answer["outputs"][0]["code"], (kind, PRODUCT), (lot, by, mass));
        for &input in &inputs {
            self.ledger.made[input].uses += 1;
        }
        self.ledger.lots[at].inputs = inputs;
    }

    /// The checks of a lot that readings answer before loading.
    pub fn checks(&self, lot: usize) -> Vec<usize> {
        let of = &self.ledger.lots[lot];
        let Some(plan) = of.plan.map(|plan| &self.ledger.plans[plan]) else { return Vec::new() };
        let checks = plan.checks.iter().enumerate();
        checks
            .filter(|(_, check)| plan.steps[check.step].on == of.kind)
            .filter(|(_, check)| check.kind != Kind::Bracket && check.fresh_for_us.is_none())
            .map(|(at, _)| at)
            .collect()
    }

    async fn read_all(&mut self, site: &mut Site) {
        for lot in 0..self.ledger.lots.len() {
            for check in self.checks(lot) {
                let at = site.at() - self.rng.within(0, 120) * 1_000_000;
                let is_wrong = self.rng.per_mille(self.faults);
                let wrong = [None, Some(Verdict::Fail), Some(Verdict::Undetermined)];
                let verdict = if is_wrong { self.rng.pick(&wrong) } else { Some(Verdict::Pass) };
                if let Some(verdict) = verdict {
                    self.reads(site, (lot, check), verdict, at).await;
                }
            }
        }
    }

    async fn pack_all(&mut self, site: &mut Site) {
        for lot in 0..self.ledger.lots.len() {
            if self.ledger.lots[lot].kind == LotKind::Finished {
                self.pack(site, lot).await;
            }
            if self.rng.chance(40) {
                self.challenges(site, true, site.at()).await;
            }
        }
    }

    /// One to three cases, each on a pallet of its own.
    async fn pack(&mut self, site: &mut Site, lot: usize) {
        let place = self.rng.below(2);
        let mut said = Vec::new();
        site.later(60).await;
        let first = self.ledger.cases.len();
        for _ in 0..1 + self.rng.below(3) {
            site.later(5).await;
            let (serial, pallet) = (format!("C-{}", id()), id());
            said.push(json!({ "serial": serial, "mass": grams(CASE_G),
                "packedAt": site.now.to_string() }));
            let passings = vec![(place, site.at())];
            self.ledger.cases.push(Case { lot, serial, pallet, passings, has_left: false });
        }
        let body = json!({ "id": id(), "lot": self.ledger.made[lot].id, "cases": said,
            "place": self.places[place], "observedAt": site.now.to_string() });
        self.taken(site, &Call::of("/v1/packings", body)).await;
        for case in first..self.ledger.cases.len() {
            let Case { serial, pallet, .. } = &self.ledger.cases[case];
            let body = json!({ "id": pallet, "label": format!("P-{pallet}"), "cases": [serial],
                "place": site.dock, "observedAt": site.now.to_string() });
            self.taken(site, &Call::of("/v1/pallets", body)).await;
        }
    }
}
