//! What goes wrong in a plant and what people do about it, reviews and shipments, in any order.
//! It never asks whether the moment is a good one.

use domain::haccp::gate::question::{Challenge, Closing, Concerns, Deviation, Disposition, Kind};
use domain::verdict::Verdict;
use serde_json::json;

use super::growth::History;
use super::ledger::{Concern, Hold, Reading, Reviewed, Row, Scope, disposition_word};
use super::plans::{self, PRODUCT};
use super::site::{Call, Site, grams, id, word};

/// An instant of the plant as text.
fn text(at: i64) -> String {
    jiff::Timestamp::from_microsecond(at).expect("an instant").to_string()
}

impl History {
    /// Something happens that nobody wished for, or somebody mends something.
    pub async fn happens(&mut self, site: &mut Site) {
        let lot = self.rng.below(self.ledger.lots.len());
        let past = self.rng.within(0, site.at() - self.began);
        let at = if self.rng.chance(50) { site.at() } else { site.at() - past };
        match self.rng.below(16) {
            0 | 1 => {
                let checks = self.checks(lot);
                let verdict = self.rng.pick(&[Verdict::Fail, Verdict::Pass, Verdict::Undetermined]);
                if let Some(check) = self.rng.some(&checks) {
                    self.reads(site, (lot, check), verdict, at).await;
                }
            }
            2 => self.amends(site).await,
            3..7 => self.closes(site).await,
            7 => self.holds(site, lot).await,
            8 => self.ends_hold(site).await,
            9 => self.adds(site, lot).await,
            10 => {
                let cases: Vec<usize> = (0..self.ledger.cases.len()).collect();
                let place = self.rng.below(2);
                if let Some(case) = self.rng.some(&cases) {
                    self.reruns(site, &[case], place).await;
                }
            }
            11 | 12 => {
                let is_good = self.rng.chance(50);
                self.challenges(site, is_good, at).await;
            }
            13 => {
                let plan = self.ledger.lots[lot].plan.expect("every lot is made with a plan");
                let may = plans::opened_by_hand(&self.ledger.plans[plan]);
                let mut checks = self.checks(lot);
                checks.retain(|check| may.contains(check));
                if let Some(check) = self.rng.some(&checks) {
                    self.by_hand(site, lot, (lot, check)).await;
                }
            }
            _ => {
                let verdict = if self.rng.chance(15) { Verdict::Fail } else { Verdict::Pass };
                let lots = self.ledger.shippable();
                if let Some(lot) = self.rng.some(&lots) {
                    self.reads_at_loading(site, lot, verdict).await;
                }
            }
        }
    }

    /// A call that is taken, or refused by a rule.
    async fn said(&mut self, site: &mut Site, call: &Call) -> Option<serde_json::Value> {
        let answer = site.call(call, &mut self.rng).await;
        // A hold on a span in which nothing passed is a wrong field.
        let is_empty_span = answer.status == 400 && call.path == "/v1/holds";
        let is_known = matches!(answer.status, 200 | 409) || is_empty_span;
        assert!(is_known, "{}: {}", call.path, answer.text);
        Some(answer.json).filter(|_| answer.status == 200)
    }

    async fn pause(&mut self, site: &mut Site) {
        let seconds = self.rng.within(1, 30);
        site.later(seconds).await;
    }

    fn opens(&mut self, deviation: Deviation, lots: Vec<usize>) -> usize {
        self.ledger.deviations.push(deviation);
        self.ledger.named.push(lots);
        self.ledger.deviations.len() - 1
    }

    fn about(&self, id: String, (plan, code): (usize, &str), by_hand: bool) -> Deviation {
        Deviation {
            name: id.clone(),
            id,
            check: code.to_owned(),
            plan,
            by_hand,
            concerns: Concerns::Lots,
            closing: Closing::Open,
        }
    }

    /// Records a reading of one lot.
    pub async fn reads(
        &mut self,
        site: &mut Site,
        (lot, check): (usize, usize),
        verdict: Verdict,
        at: i64,
    ) {
        let plan = self.ledger.lots[lot].plan.expect("every lot is made with a plan");
        let of = self.ledger.plans[plan].checks[check].clone();
        let (reading, known_at) = (id(), site.at());
        let mut body = json!({
            "id": reading, "lots": [self.ledger.made[lot].id], "plan": self.plans[plan],
            "planVersion": 1, "check": of.code, "unit": "[degF]", "observedAt": text(at),
            "readings": [plans::value(&of, verdict != Verdict::Fail)],
        });
        if verdict == Verdict::Undetermined {
            body["instrument"] = json!(site.unchecked);
        }
        let answer = site.call(&Call::of("/v1/readings", body), &mut self.rng).await.ok();
        assert_eq!(word(&answer["verdict"]), verdict.word(), "{answer}");
        let opened = word(&answer["deviation"]);
        let must_open = verdict == Verdict::Fail && of.kind == Kind::Each && of.class.gates();
        assert_eq!(!opened.is_empty(), must_open, "{answer}");
        let deviation = must_open.then(|| {
            let deviation = self.about(opened, (plan, &of.code), false);
            self.opens(deviation, vec![lot])
        });
        let rows = vec![Row { verdict, known_at, deviation }];
        let reading = Reading { id: reading, lot, check, at, is_late: false, rows };
        self.ledger.readings.push(reading);
        if verdict != Verdict::Pass && of.class.gates() {
            self.ledger.concerns.push(Concern::Lots(vec![lot]));
        }
        self.pause(site).await;
    }

    pub async fn reads_at_loading(&mut self, site: &mut Site, lot: usize, verdict: Verdict) {
        let checks = &self.ledger.plans[PRODUCT].checks;
        if let Some(check) = checks.iter().position(|check| check.fresh_for_us.is_some()) {
            self.reads(site, (lot, check), verdict, site.at()).await;
        }
    }

    async fn amends(&mut self, site: &mut Site) {
        let all: Vec<usize> = (0..self.ledger.readings.len()).collect();
        let Some(reading) = self.rng.some(&all) else { return };
        let Reading { id: first, lot, check, at, rows, .. } = &self.ledger.readings[reading];
        let (lot, check, at) = (*lot, *check, *at);
        // With its instrument, which proves nothing, an amendment proves nothing either.
        let is_proved = rows[0].verdict != Verdict::Undetermined;
        let plan = self.ledger.lots[lot].plan.expect("every lot is made with a plan");
        let of = self.ledger.plans[plan].checks[check].clone();
        let is_met = self.rng.chance(50);
        let body = json!({
            "id": id(), "readings": [plans::value(&of, is_met)], "unit": "[degF]",
            "observedAt": text(at), "reason": "Typed wrongly",
        });
        let call = Call::of(format!("/v1/readings/{first}/amendments"), body)
            .signed("hankbook.v1.Haccp/AmendReading", format!("reading:{first}"));
        let Some(answer) = self.said(site, &call).await else { return };
        let verdict = match (is_met, is_proved) {
            (false, true) => Verdict::Fail,
            (true, true) => Verdict::Pass,
            (_, false) => Verdict::Undetermined,
        };
        assert_eq!(word(&answer["verdict"]), verdict.word(), "{answer}");
        let opened = word(&answer["deviation"]);
        let deviation = (!opened.is_empty()).then(|| {
            let deviation = self.about(opened, (plan, &of.code), false);
            self.opens(deviation, vec![lot])
        });
        let known_at = site.at();
        self.ledger.readings[reading].rows.push(Row { verdict, known_at, deviation });
        self.ledger.concerns.push(Concern::Lots(vec![lot]));
        self.pause(site).await;
    }

    async fn closes(&mut self, site: &mut Site) {
        use Disposition::{
            Destroy, Recook, RecordedWrongly, ReleaseWithSupport, ReworkWithLethalStep,
        };
        let open = self.open();
        let Some(deviation) = self.rng.some(&open) else { return };
        let is_span = self.ledger.deviations[deviation].concerns != Concerns::Lots;
        let disposition = match self.rng.below(12) {
            0 | 1 => Destroy,
            2 | 3 if !is_span => ReworkWithLethalStep,
            4 | 5 if !is_span => Recook,
            6 | 7 if !is_span => RecordedWrongly,
            _ => ReleaseWithSupport,
        };
        self.close(site, deviation, disposition).await;
    }

    /// Deviations that nobody has closed.
    pub fn open(&self) -> Vec<usize> {
        let all = self.ledger.deviations.iter().enumerate();
        all.filter(|(_, one)| one.closing == Closing::Open).map(|(at, _)| at).collect()
    }

    pub async fn close(&mut self, site: &mut Site, deviation: usize, disposition: Disposition) {
        let of = self.ledger.deviations[deviation].id.clone();
        let mut body = json!({
            "id": id(), "cause": "A door stood open", "control": "It is shut",
            "prevention": "A bell at the door", "disposition": disposition_word(disposition),
            "dispositionText": "By the support on file",
        });
        let is_wrong = disposition == Disposition::RecordedWrongly;
        if is_wrong {
            body["evidence"] = json!("The photo of the display");
        }
        let call = Call::of(format!("/v1/deviations/{of}/close"), body)
            .signed("hankbook.v1.Haccp/CloseDeviation", format!("deviation:{of}"));
        let is_taken = match is_wrong {
            true => site.call_by_another(&call).await.status == 200,
            false => self.said(site, &call).await.is_some(),
        };
        if is_taken {
            let closing = Closing::Closed { disposition, at: site.at() };
            self.ledger.deviations[deviation].closing = closing;
        }
        self.pause(site).await;
    }

    /// Opens a deviation by hand that names a lot, about a check of a lot's plan.
    pub async fn by_hand(&mut self, site: &mut Site, lot: usize, (of, check): (usize, usize)) {
        let plan = self.ledger.lots[of].plan.expect("every lot is made with a plan");
        let code = self.ledger.plans[plan].checks[check].code.clone();
        let body = json!({ "id": id(), "lots": [self.ledger.made[lot].id],
            "plan": self.plans[plan], "planVersion": 1, "check": code, "what": "Nobody knows." });
        let call = Call::of("/v1/deviations", body);
        if let Some(answer) = self.said(site, &call).await {
            let deviation = self.about(word(&answer["deviation"]), (plan, &code), true);
            self.opens(deviation, vec![lot]);
            self.ledger.concerns.push(Concern::Lots(vec![lot]));
        }
        self.pause(site).await;
    }

    async fn holds(&mut self, site: &mut Site, lot: usize) {
        let hold = id();
        let mut body =
            json!({ "id": hold, "lots": [self.ledger.made[lot].id], "reason": "A sample is out" });
        let cases = self.ledger.left(lot);
        let scope = match self.rng.below(4) {
            0 => Scope::Left(lot),
            1 if !cases.is_empty() => Scope::Cases(vec![self.rng.pick(&cases)]),
            2 if !cases.is_empty() => {
                Scope::Span { lot, place: self.rng.below(2), to: site.at() - 60_000_000 }
            }
            _ => Scope::Whole(lot),
        };
        match &scope {
            Scope::Whole(_) => {}
            Scope::Left(_) => body["scope"] = json!("what_is_left"),
            Scope::Cases(cases) => {
                body["scope"] = json!("cases");
                body["cases"] = json!([self.ledger.cases[cases[0]].serial]);
            }
            Scope::Span { place, to, .. } => {
                body["scope"] = json!("span");
                body["place"] = json!(self.places[*place]);
                body["spanTo"] = json!(text(*to));
            }
        }
        let mut call = Call::of("/v1/holds", body);
        if !matches!(scope, Scope::Whole(_)) {
            call = call.signed("hankbook.v1.Genealogy/PlaceHold", format!("hold:{hold}"));
        }
        if self.said(site, &call).await.is_some() {
            self.ledger.holds.push(Hold { id: hold, scope, has_ended: false });
            self.ledger.concerns.push(Concern::Lots(vec![lot]));
        }
        self.pause(site).await;
    }

    /// Ends a hold of a person, if one stands.
    pub async fn ends_hold(&mut self, site: &mut Site) {
        let Some(hold) = self.ledger.holds.iter().position(|hold| !hold.has_ended) else { return };
        let of = self.ledger.holds[hold].id.clone();
        let body = json!({ "id": id(), "reason": "The sample is good" });
        let call = Call::of(format!("/v1/holds/{of}/end"), body)
            .signed("hankbook.v1.Genealogy/EndHold", format!("hold:{of}"));
        if self.said(site, &call).await.is_some() {
            self.ledger.holds[hold].has_ended = true;
        }
        self.pause(site).await;
    }

    /// An input joins late, where the rules let it.
    async fn adds(&mut self, site: &mut Site, lot: usize) {
        let input = self.rng.below(lot + 1);
        let by = self.ledger.made[lot].made_by.clone();
        let is_new = input != lot && !self.ledger.lots[lot].inputs.contains(&input);
        if by.is_empty() || !is_new || self.ledger.made[input].uses > 6 {
            return;
        }
        let mass = grams(self.ledger.made[input].grams / 8);
        let body = json!({ "id": id(), "lot": self.ledger.made[input].id, "mass": mass,
            "reason": "Left out", "observedAt": site.now.to_string() });
        let call = Call::of(format!("/v1/transformations/{by}/inputs"), body);
        if self.said(site, &call).await.is_some() {
            self.ledger.lots[lot].inputs.push(input);
            self.ledger.made[input].uses += 1;
            self.ledger.concerns.push(Concern::Lots(vec![lot]));
        }
        self.pause(site).await;
    }

    /// Cases pass a detector again.
    pub async fn reruns(&mut self, site: &mut Site, cases: &[usize], place: usize) {
        let serials: Vec<_> = cases.iter().map(|&case| &self.ledger.cases[case].serial).collect();
        let body = json!({ "id": id(), "place": self.places[place], "passed": serials,
            "observedAt": site.now.to_string() });
        if self.said(site, &Call::of("/v1/reruns", body)).await.is_some() {
            for &case in cases {
                self.ledger.cases[case].passings.push((place, site.at()));
            }
        }
        self.pause(site).await;
    }

    /// A detector is challenged.
    pub async fn challenges(&mut self, site: &mut Site, is_good: bool, at: i64) {
        let place = self.rng.below(2);
        self.challenges_at(site, place, (is_good, at)).await;
    }

    pub async fn challenges_at(
        &mut self,
        site: &mut Site,
        place: usize,
        (is_good, at): (bool, i64),
    ) {
        let body = json!({
            "id": id(), "plan": self.plans[PRODUCT], "planVersion": 1, "check": "CCP-3",
            "place": self.places[place], "observedAt": text(at),
            "pieces": [{ "name": "ferrous 1.5 mm", "found": is_good }],
        });
        let answer = site.call(&Call::of("/v1/challenges", body), &mut self.rng).await.ok();
        let from = self.ledger.last_good(place, at);
        let mut opened = None;
        if !is_good {
            assert_eq!(word(&answer["spanFrom"]), from.map(text).unwrap_or_default(), "{answer}");
            let concerns = Concerns::Span { place, from, to: at };
            let deviation = self.about(word(&answer["deviation"]), (PRODUCT, "CCP-3"), false);
            opened = Some(self.opens(Deviation { concerns, ..deviation }, Vec::new()));
            self.ledger.concerns.push(Concern::Span { place, from, to: at });
        }
        let device = "metal_detector".to_owned();
        self.ledger.challenges.push(Challenge { place, device, at, is_good, deviation: opened });
        self.pause(site).await;
    }

    /// Somebody looks at what is proved of a lot, and signs; now and then something comes between.
    pub async fn reviews(&mut self, site: &mut Site, lot: usize, is_disturbed: bool) -> bool {
        let path = format!("/v1/lots/{}/clearance", self.ledger.made[lot].id);
        let shown = site.get(&path).await.ok();
        let (after, closure) = (self.ledger.concerns.len(), self.ledger.closure(lot));
        if shown["isReviewable"] != true {
            return false;
        }
        if is_disturbed {
            Box::pin(self.happens(site)).await;
        }
        let review = id();
        let body = json!({ "id": review,
            "lots": [{ "lot": self.ledger.made[lot].id, "digest": shown["digest"] }] });
        let call = Call::of("/v1/reviews", body)
            .signed("hankbook.v1.Verification/SignReview", format!("review:{review}"));
        let Some(answer) = self.said(site, &call).await else { return false };
        let excepted = answer["lots"][0]["exceptedCases"].as_array().cloned().unwrap_or_default();
        let excepted = excepted.iter().map(word).collect();
        self.ledger.reviews.push(Reviewed { lot, closure, excepted, after });
        true
    }

    /// Ships cases; what left is held against the model. An error is what the refusal said.
    pub async fn ships(&mut self, site: &mut Site, cases: &[usize]) -> Result<(), String> {
        let pallets: Vec<_> = cases.iter().map(|&case| &self.ledger.cases[case].pallet).collect();
        let body = json!({ "id": id(), "customer": site.customer, "pallets": pallets,
            "place": site.dock, "truck": "Trailer 12", "observedAt": site.now.to_string() });
        let answer = site.call(&Call::of("/v1/shipments", body), &mut self.rng).await;
        if answer.status == 409 {
            self.refused += 1;
            return Err(answer.text);
        }
        answer.clone().ok();
        for &case in cases {
            let why = self.ledger.unsafe_to_leave(case, site.at());
            let of = &mut self.ledger.cases[case];
            assert!(why.is_empty(), "case {} left: {why:?}", of.serial);
            of.has_left = true;
        }
        Ok(())
    }
}
