//! What the day makes: plans of products, lots, loads, cases, pallets, all by REST.
//! It never skips a step that the plan asks for, unless a scenario says so.

use serde_json::{Value, json};

use super::day::{Day, id, lb, seconds, t};

/// A product with its plan in force.
#[derive(Clone)]
pub struct Product {
    pub name: &'static str,
    pub plan: String,
}

/// What the plan of a product says.
#[derive(Clone, Copy)]
pub struct Says {
    pub name: &'static str,
    pub cook: &'static str,
    /// cooling_option_1 and so on.
    pub chill: &'static str,
    pub cured: bool,
    pub species: &'static [&'static str],
    pub diameter_mm: &'static str,
    /// How often somebody must look at the cook.
    pub every_s: Option<i32>,
}

/// No. 1 Rope.
pub const ROPE: Says = Says {
    name: "No. 1 Rope",
    cook: "155",
    chill: "cooling_option_3",
    cured: true,
    species: &["pork", "beef"],
    diameter_mm: "33",
    every_s: None,
};
/// No. 2 Plain Link, uncured.
pub const PLAIN: Says =
    Says { name: "No. 2 Plain Link", cook: "158", chill: "cooling_option_1", cured: false, ..ROPE };
/// No. 3 Turkey Link.
pub const TURKEY: Says =
    Says { name: "No. 3 Turkey Link", diameter_mm: "26", species: &["turkey"], ..ROPE };
/// No. 5 Ring, with somebody who must look every 30 minutes.
pub const RING: Says = Says { name: "No. 5 Ring", diameter_mm: "60", every_s: Some(1800), ..ROPE };
/// No. 6 Skinless.
pub const SKINLESS: Says = Says { name: "No. 6 Skinless", cook: "158", ..ROPE };

fn step(code: &str, title: &str, on: &str, operation: &str) -> Value {
    json!({ "code": code, "title": title, "on": on, "operation": operation })
}

/// The content of a product's plan. Limits are the plant's own; the chill is judged by FSIS
/// Appendix B of 1999 (64 FR 732).
pub fn content(says: Says) -> Value {
    let Says { name, cook, chill, cured, species, diameter_mm, every_s } = says;
    let mut mix = step("MIX", "Mixing", "batch", "mix");
    let mut pack = step("PACK", "Packing and metal detection", "finished", "pack");
    let mut load = step("LOAD", "Loading", "finished", "load");
    for own in [&mut mix, &mut pack, &mut load] {
        own["onEveryPath"] = json!(false);
    }
    let route = [
        mix,
        step("COOK", "Cooking", "rack", "cook"),
        step("CHILL", "Chilling", "rack", "chill"),
        pack,
        load,
    ];
    let mut cook = json!({
        "code": "CCP-1", "step": "COOK", "title": "Core at the end of the cook", "class": "ccp",
        "kind": "attain", "hazard": "Survival of Salmonella", "hazardKind": "pathogen",
        "unit": "[degF]", "atLeast": cook, "source": "the plant's own limit",
        "dispositions": ["release_with_support", "recook", "destroy"],
    });
    if let Some(every_s) = every_s {
        cook["everyS"] = json!(every_s);
    }
    json!({ "content": {
        "name": name, "binds": "product", "processCategory": "fully_cooked_not_shelf_stable",
        "route": route, "diameterMm": diameter_mm, "cured": cured, "species": species,
        "ingoingNitritePpm": if cured { Some("150") } else { None },
        "checks": [
            { "code": "Q-1", "step": "MIX", "title": "Mixer temperature", "class": "quality",
              "kind": "each", "unit": "[degF]", "atMost": "40", "source": "the plant's own limit" },
            cook,
            { "code": "CCP-2", "step": "CHILL", "title": "Chill", "class": "ccp", "kind": "attain",
              "hazard": "Growth of Clostridium perfringens", "hazardKind": "toxin",
              "unit": "[degF]", "judgedBy": chill, "edition": "1999",
              "dispositions": ["release_with_support", "destroy"],
              "source": "FSIS Appendix B, 1999" },
            { "code": "CCP-3", "step": "PACK", "title": "Metal detector", "class": "ccp",
              "kind": "bracket", "device": "metal_detector", "hazard": "Metal",
              "hazardKind": "metal", "dispositions": ["release_with_support", "destroy"],
              "source": "the plant's own validation" },
            { "code": "L-1", "step": "LOAD", "title": "Product at loading", "class": "programme",
              "kind": "attain", "gates": true, "unit": "[degF]", "atMost": "40", "freshForS": 3600,
              "source": "the plant's own limit" },
        ],
    } })
}

/// What the plan of received meat says.
pub fn receiving() -> Value {
    json!({ "content": { "name": "Receiving of raw meat", "binds": "received", "checks": [{
        "code": "R-1", "title": "Meat temperature at receiving", "class": "ccp", "kind": "each",
        "hazard": "Growth of Salmonella", "hazardKind": "pathogen", "unit": "[degF]",
        "atMost": "40", "source": "the plant's own limit",
        "dispositions": ["release_with_support", "rework_with_lethal_step", "destroy"],
    }] } })
}

/// A curve of straight lines between points, sampled each minute and at the points.
pub fn curve(points: &[(&str, f64)]) -> Vec<Value> {
    let begun = points[0].0;
    let mut samples = Vec::new();
    for pair in points.windows(2) {
        let ((from, low), (to, high)) = (pair[0], pair[1]);
        let (start, length) = (seconds(begun, from), seconds(from, to));
        let mut at = 0;
        while at < length {
            let value = low + (high - low) * at as f64 / length as f64;
            samples.push(json!({ "tS": start + at, "value": format!("{value:.4}") }));
            at += 60;
        }
    }
    let (last, value) = points[points.len() - 1];
    samples.push(json!({ "tS": seconds(begun, last), "value": format!("{value:.4}") }));
    samples
}

impl Day {
    /// Drafts a plan and approves it; gives its id.
    pub async fn plan(&self, content: &Value) -> String {
        let plan = id();
        let path = format!("/v1/plans/{plan}/draft");
        let qa = &self.person("priya").client;
        let draft = qa.put_with(&path, content, &[("if-none-match", "*")]).await.ok();
        let body = json!({ "id": id(), "draftVersion": draft["version"] });
        let (subject, path) = (format!("plan:{plan}"), format!("/v1/plans/{plan}/approve"));
        self.sign("priya", ("Haccp/ApprovePlan", &subject), (&path, &body)).await.ok();
        plan
    }

    /// A product with its plan in force.
    pub async fn product(&self, says: Says) -> Product {
        let plan = self.plan(&content(says)).await;
        Product { name: says.name, plan }
    }

    /// A received lot that met its receiving check.
    pub async fn meat(&self, plan: &str, mass: &str, at: &str) -> String {
        let lot = id();
        let body = json!({
            "id": lot, "material": "Pork trim 72/28", "supplier": self.supplier,
            "supplierLot": "H-4411", "mass": lb(mass), "place": self.place("Receiving"),
            "plan": plan, "observedAt": t(at),
        });
        self.post("ines", "/v1/lots", &body).await.ok();
        self.reading(&Item { plan, check: "R-1", lots: &[&lot] }, &["38.0"], at).await;
        lot
    }

    /// Records a reading in [degF] that must be taken.
    pub async fn reading(&self, item: &Item<'_>, values: &[&str], at: &str) -> Value {
        let body = json!({
            "id": id(), "lots": item.lots, "plan": item.plan, "planVersion": 1,
            "check": item.check, "readings": values, "unit": "[degF]", "observedAt": t(at),
        });
        self.post("ines", "/v1/readings", &body).await.ok()
    }

    /// Makes lots of one kind out of others; gives their ids.
    pub async fn make(&self, kind: &str, making: &Making<'_>) -> Vec<String> {
        let lots: Vec<String> = making.masses.iter().map(|_| id()).collect();
        let outputs: Vec<Value> = lots.iter().zip(making.masses).map(|(lot, mass)| json!({
            "lot": lot, "kind": making.of, "material": making.product.name, "mass": lb(mass),
            "plan": making.product.plan,
        })).collect();
        let inputs: Vec<Value> = making
            .inputs
            .iter()
            .map(|(lot, mass)| json!({ "lot": lot, "mass": lb(mass) }))
            .collect();
        let body = json!({
            "id": id(), "kind": kind, "place": self.place(making.place), "inputs": inputs,
            "outputs": outputs, "observedAt": t(making.at),
        });
        self.post("ines", "/v1/transformations", &body).await.ok();
        lots
    }

    /// Mixes a batch of one meat, whole, in mixer 1.
    pub async fn mix(&self, product: &Product, meat: &str, mass: &str, at: &str) -> String {
        let making = Making {
            of: "batch",
            product,
            inputs: &[(meat, mass)],
            masses: &[mass],
            place: "Mixer 1",
            at,
        };
        self.make("mix", &making).await.remove(0)
    }

    /// Puts racks into a house with probes, each in a rack.
    pub async fn load(
        &self,
        house: &str,
        racks: &[String],
        probes: &[(&str, &str)],
        at: &str,
    ) -> String {
        let load = id();
        let probes: Vec<Value> = probes
            .iter()
            .map(|(probe, lot)| match *lot {
                "air" => json!({ "probe": probe, "seat": "air" }),
                lot => json!({ "probe": probe, "seat": "rack", "lot": lot }),
            })
            .collect();
        let body = json!({
            "id": load, "house": self.place(house), "racks": racks, "probes": probes,
            "observedAt": t(at),
        });
        self.post("marcus", "/v1/loads", &body).await.ok();
        load
    }

    /// Sends the samples of a probe of the house.
    pub async fn samples(&self, load: &str, probe: &str, points: &[(&str, f64)]) -> Value {
        let body = json!({
            "id": id(), "probe": probe, "source": "probe", "unit": "[degF]",
            "begunAt": t(points[0].0), "samples": curve(points),
        });
        self.post("marcus", &format!("/v1/loads/{load}/samples"), &body).await.ok()
    }

    /// Reads out a logger that hung in a rack.
    pub async fn logger(&self, load: &str, rack: &str, points: &[(&str, f64)]) -> Value {
        let body = json!({
            "id": id(), "probe": "L-7", "source": "logger", "lot": rack, "unit": "[degF]",
            "begunAt": t(points[0].0), "samples": curve(points),
        });
        self.post("marcus", &format!("/v1/loads/{load}/samples"), &body).await.ok()
    }

    /// The body that pulls racks.
    pub fn pull_body(&self, racks: &[String], at: &str) -> Value {
        json!({ "id": id(), "racks": racks, "observedAt": t(at) })
    }

    /// Packs a lot off in cases of 14 lb with serials, each with its packing time.
    pub async fn pack(&self, lot: &str, detector: &str, cases: &[(String, String)]) {
        let last = cases.iter().map(|(_, at)| at.clone()).max().unwrap_or_default();
        let cases: Vec<Value> = cases
            .iter()
            .map(|(serial, at)| json!({ "serial": serial, "mass": lb("14"), "packedAt": at }))
            .collect();
        let body = json!({
            "id": id(), "lot": lot, "place": self.place(detector), "cases": cases,
            "observedAt": last,
        });
        self.post("ines", "/v1/packings", &body).await.ok();
    }

    /// A thermometer, and what it showed in ice at a time, where that is known: its id.
    pub async fn thermometer(&self, name: &str, in_ice: Option<(&str, &str)>) -> String {
        let degrees = |value: &str| json!({ "value": value, "unit": "[degF]" });
        let body = json!({
            "id": id(), "name": name, "kind": "thermometer", "tolerance": degrees("1.0"),
        });
        let made = self.post("dana", "/v1/instruments", &body).await.ok();
        let instrument = made["instrument"].as_str().expect("an id").to_owned();
        if let Some((shown, at)) = in_ice {
            let body = json!({
                "id": id(), "reference": degrees("32.0"), "shown": degrees(shown),
                "observedAt": t(at),
            });
            let path = format!("/v1/instruments/{instrument}/checks");
            assert_eq!(self.post("ines", &path, &body).await.ok()["verdict"], "PASS");
        }
        instrument
    }

    /// A challenge of a detector by the plan of a product.
    pub async fn challenge(&self, plan: &str, detector: &str, found: bool, at: &str) -> Value {
        let body = json!({
            "id": id(), "plan": plan, "planVersion": 1, "check": "CCP-3",
            "place": self.place(detector), "observedAt": t(at),
            "pieces": [
                { "name": "ferrous 1.5 mm", "found": true },
                { "name": "stainless 2.5 mm", "found": found },
            ],
        });
        self.post("ines", "/v1/challenges", &body).await.ok()
    }

    /// Builds a pallet; gives its id.
    pub async fn pallet(&self, label: &str, cases: &[String], at: &str) -> String {
        let pallet = id();
        let body = json!({
            "id": pallet, "label": label, "place": self.place("Cooler 4"), "cases": cases,
            "observedAt": t(at),
        });
        self.post("lee", "/v1/pallets", &body).await.ok();
        pallet
    }

    /// The body that ships a pallet.
    pub fn ship_body(&self, pallet: &str, at: &str) -> Value {
        json!({
            "id": id(), "customer": self.customers[0], "pallets": [pallet],
            "place": self.place("Dock"), "truck": "Trailer 12", "observedAt": t(at),
        })
    }

    /// Reviews a lot as it stands and signs; gives the answer.
    pub async fn review(&self, lot: &str) -> harness::Answer {
        let path = format!("/v1/lots/{lot}/clearance");
        let clearance = self.get("dana", &path).await.ok();
        let review = id();
        let body = json!({ "id": review, "lots": [{ "lot": lot, "digest": clearance["digest"] }] });
        let subject = format!("review:{review}");
        self.sign("dana", ("Verification/SignReview", &subject), ("/v1/reviews", &body)).await
    }

    /// Closes a deviation; gives the answer.
    pub async fn close_deviation(&self, deviation: &str, disposition: &str) -> harness::Answer {
        let body = json!({
            "id": id(), "cause": "The wand was not seen: sensitivity had drifted.",
            "control": "Sensitivity set again; a good challenge followed.",
            "prevention": "The setting is locked and looked at each shift.",
            "disposition": disposition,
            "dispositionText": "All product of the span was run again after a good challenge.",
        });
        let (subject, path) =
            (format!("deviation:{deviation}"), format!("/v1/deviations/{deviation}/close"));
        self.sign("dana", ("Haccp/CloseDeviation", &subject), (&path, &body)).await
    }
}

/// A check on lots.
pub struct Item<'a> {
    pub plan: &'a str,
    pub check: &'a str,
    pub lots: &'a [&'a str],
}

/// What is made of what.
pub struct Making<'a> {
    /// The kind of lot.
    pub of: &'a str,
    pub product: &'a Product,
    pub inputs: &'a [(&'a str, &'a str)],
    pub masses: &'a [&'a str],
    pub place: &'a str,
    pub at: &'a str,
}

/// Serials of cases with their packing times, spread evenly from one instant to another.
pub fn cases(prefix: &str, count: usize, from: &str, to: &str) -> Vec<(String, String)> {
    let length = seconds(from, to);
    let begun = t(from).parse::<jiff::Timestamp>().expect("an instant");
    let at = |n: usize| begun + jiff::SignedDuration::from_secs(length * n as i64 / count as i64);
    (0..count).map(|n| (format!("{prefix}-{n:04}"), at(n).to_string())).collect()
}

/// The serials of cases.
pub fn serials(cases: &[(String, String)]) -> Vec<String> {
    cases.iter().map(|(serial, _)| serial.clone()).collect()
}

/// The reasons of a refusal.
pub fn reasons(answer: &harness::Answer) -> Vec<Value> {
    answer.json["reasons"].as_array().cloned().unwrap_or_default()
}

/// A field of a load's part, by the id of a rack or the name of a product.
pub fn part<'v>(list: &'v Value, field: &str, name: &str) -> &'v Value {
    let list = list.as_array().map(Vec::as_slice).unwrap_or_default();
    let found = list.iter().find(|part| part[field] == name);
    found.unwrap_or_else(|| panic!("no {field} {name} in {list:?}"))
}
