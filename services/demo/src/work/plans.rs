//! The plans that the plant works by: drafted by Priya Lunde, approved by her signature.
//! It never holds a limit without what it rests on.

use serde_json::{Value, json};

use crate::client::{Signed, word};
use crate::tables::products::{PRODUCTS, Product};
use crate::week::{Plans, Week};
use crate::{Done, Failed};

/// What the plant's own limits rest on.
const OWN: &str = "the plant's own limit";

impl Week {
    /// Puts every plan in force.
    pub async fn approve_plans(&mut self) -> Done {
        let chilled = self.approve(&received_chilled()).await?;
        let dry = self.approve(&received_dry("Receiving of dry goods", false)).await?;
        let packaging = self.approve(&received_dry("Receiving of packaging", true)).await?;
        let cured_kit = self.approve(&kit("Kits with cure", true)).await?;
        let plain_kit = self.approve(&kit("Kits without cure", false)).await?;
        let mut products = Vec::new();
        for product in &PRODUCTS {
            let content = if product.cook_f.is_some() { cooked(product) } else { fresh(product) };
            products.push(self.approve(&content).await?);
        }
        self.plans = Plans { chilled, dry, packaging, cured_kit, plain_kit, products };
        Ok(())
    }

    async fn approve(&mut self, content: &Value) -> Result<String, Failed> {
        let plan = self.plant.id();
        let path = format!("/v1/plans/{plan}/draft");
        let draft = self.plant.put_first("priya", &path, &json!({ "content": content })).await?;
        let body = json!({ "id": self.plant.id(), "draftVersion": draft["version"] });
        let (subject, path) = (format!("plan:{plan}"), format!("/v1/plans/{plan}/approve"));
        let meaning = "I have read this plan and approve it.";
        let method = "Haccp/ApprovePlan";
        let signed = Signed { who: "priya", method, subject: &subject, meaning };
        Ok(word(&self.plant.sign(signed, &path, &body).await?["plan"]))
    }
}

fn received_chilled() -> Value {
    json!({ "name": "Receiving of chilled meat and dairy", "binds": "received", "checks": [{
        "code": "R-1", "title": "Temperature at receiving", "class": "ccp", "kind": "each",
        "hazard": "Growth of Salmonella", "hazardKind": "pathogen", "unit": "[degF]",
        "atMost": "40", "source": OWN,
        "dispositions": ["release_with_support", "rework_with_lethal_step", "destroy"],
    }] })
}

fn received_dry(name: &str, packaging: bool) -> Value {
    json!({ "name": name, "binds": "received", "packaging": packaging, "checks": [{
        "code": "R-2", "title": "Temperature of the truck", "class": "quality", "kind": "each",
        "unit": "[degF]", "atMost": "90", "source": OWN,
    }] })
}

/// Of 400 lb of meat 1.000 lb of a mix with 6.25 % of nitrite is 156.25 ppm.
fn kit(name: &str, is_cured: bool) -> Value {
    let check = match is_cured {
        true => json!({
            "code": "K-1", "title": "Cure mix in the kit, for 400.0 lb of meat",
            "class": "programme", "kind": "each", "gates": true, "unit": "[lb_av]",
            "hazard": "Too much nitrite", "hazardKind": "chemical", "atMost": "0.995",
            "atLeast": "0.900", "source": "9 CFR 424.21(c): 156 ppm ingoing, less a margin",
            "dispositions": ["release_with_support", "destroy"],
        }),
        false => json!({
            "code": "K-2", "title": "Salt in the kit, for 400.0 lb of meat", "class": "quality",
            "kind": "each", "unit": "[lb_av]", "atLeast": "6.0", "atMost": "8.0", "source": OWN,
        }),
    };
    json!({ "name": name, "binds": "kit", "checks": [check] })
}

fn step(code: &str, title: &str, (on, operation): (&str, &str)) -> Value {
    json!({ "code": code, "title": title, "on": on, "operation": operation })
}

/// A step that concerns only the lot on which it is done.
fn own_step(code: &str, title: &str, on: (&str, &str)) -> Value {
    let mut step = step(code, title, on);
    step["onEveryPath"] = json!(false);
    step
}

fn mixer() -> Value {
    json!({
        "code": "Q-1", "step": "MIX", "title": "Mix at the end of mixing", "class": "quality",
        "kind": "each", "unit": "[degF]", "atMost": "40", "source": OWN,
    })
}

fn detector() -> Value {
    json!({
        "code": "CCP-3", "step": "PACK", "title": "Metal detector", "class": "ccp",
        "kind": "bracket", "device": "metal_detector", "hazard": "Metal", "hazardKind": "metal",
        "dispositions": ["release_with_support", "destroy"],
        "source": "the plant's own validation",
    })
}

fn loading() -> Value {
    json!({
        "code": "L-1", "step": "LOAD", "title": "Product at loading", "class": "programme",
        "kind": "attain", "gates": true, "unit": "[degF]", "atMost": "40", "freshForS": 7200,
        "source": OWN,
    })
}

fn cooked(product: &Product) -> Value {
    let mut cook = json!({
        "code": "CCP-1", "step": "COOK", "title": "Core at the end of the cook", "class": "ccp",
        "kind": "attain", "hazard": "Survival of Salmonella", "hazardKind": "pathogen",
        "unit": "[degF]", "atLeast": product.cook_f.map(|limit| format!("{limit}")),
        "source": "the plant's own limit, above its process authority's",
        "dispositions": ["release_with_support", "recook", "destroy"],
    });
    if let Some(every_s) = product.every_s {
        cook["everyS"] = json!(every_s);
    }
    json!({
        "name": product.name, "binds": "product",
        "processCategory": "fully_cooked_not_shelf_stable", "species": product.species,
        "diameterMm": format!("{}", product.diameter_mm), "cured": product.cured,
        "ingoingNitritePpm": product.cured.then_some("153.125"),
        "route": [
            own_step("MIX", "Mixing", ("batch", "mix")),
            step("COOK", "Cooking", ("rack", "cook")),
            step("CHILL", "Chilling", ("rack", "chill")),
            own_step("PACK", "Packing and metal detection", ("finished", "pack")),
            own_step("LOAD", "Loading", ("finished", "load")),
        ],
        "checks": [
            mixer(), cook,
            {
                "code": "CCP-2", "step": "CHILL", "title": "Chill", "class": "ccp",
                "kind": "attain", "hazard": "Growth of Clostridium perfringens",
                "hazardKind": "toxin", "unit": "[degF]", "judgedBy": product.chill,
                "edition": "1999", "dispositions": ["release_with_support", "destroy"],
                "source": "FSIS Appendix B, 1999",
            },
            detector(), loading(),
        ],
    })
}

fn fresh(product: &Product) -> Value {
    json!({
        "name": product.name, "binds": "product", "processCategory": "raw_ground",
        "species": product.species, "diameterMm": format!("{}", product.diameter_mm),
        "cured": false,
        "route": [
            step("MIX", "Mixing", ("batch", "mix")),
            own_step("PACK", "Packing and metal detection", ("finished", "pack")),
            own_step("LOAD", "Loading", ("finished", "load")),
        ],
        "checks": [
            {
                "code": "CCP-1", "step": "MIX", "title": "Mix of uncooked product", "class": "ccp",
                "kind": "each", "hazard": "Growth of Salmonella", "hazardKind": "pathogen",
                "unit": "[degF]", "atMost": "40", "source": OWN,
                "dispositions": ["release_with_support", "destroy"],
            },
            detector(), loading(),
        ],
    })
}
