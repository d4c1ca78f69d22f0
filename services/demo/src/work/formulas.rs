//! Formulas, labels and what materials are made of; kits and batches are judged by them.
//! It never tips what the plant refuses.

use serde_json::{Value, json};

use crate::client::{Signed, word};
use crate::mass::Mass;
use crate::tables::products::{PRODUCTS, Product};
use crate::tables::specifications::{REWORK, STATED, WATER};
use crate::tables::week::BLOCK_LB;
use crate::week::Week;
use crate::{Done, Failed};

/// The kit of every formula.
const KIT: &str = "KIT";
/// Rework that a batch of Rope may hold, in per cent of its meat.
const REWORK_PCT: &str = "10";

/// What goes into a kit or a batch: material, lot, mass.
pub type Contents = Vec<(&'static str, String, Mass)>;

impl Week {
    /// Enters materials, products and labels, and has Priya Lunde approve every formula.
    pub async fn approve_formulas(&mut self) -> Done {
        for stated in &STATED {
            let body = json!({ "id": self.plant.id(), "name": stated.name, "kind": stated.kind });
            let made = self.plant.post("priya", "/v1/materials", &body).await?;
            let material = word(&made["material"]);
            let [fat, moisture, protein, salt] = stated.composition;
            let agents: Vec<Value> = stated
                .agent
                .iter()
                .map(|(agent, pct)| json!({ "agent": agent, "strengthPct": pct }))
                .collect();
            let body = json!({
                "id": self.plant.id(), "inForceFrom": self.now(),
                "content": {
                    "fatPct": fat, "moisturePct": moisture, "proteinPct": protein,
                    "saltPct": salt, "allergens": stated.allergens, "agents": agents,
                    "statement": stated.words, "source": "The maker's certificate (invented).",
                },
            });
            let path = format!("/v1/materials/{material}/specifications");
            self.plant.post("priya", &path, &body).await?;
            self.materials.insert(stated.name, material);
        }
        for product in &PRODUCTS {
            let formula = self.formula(product).await?;
            self.formulas.push(formula);
        }
        Ok(())
    }

    /// A product with its label and its formula in force; gives the formula.
    async fn formula(&mut self, product: &Product) -> Result<String, Failed> {
        let class = if product.cook_f.is_some() { "comminuted" } else { "fresh" };
        let is_poultry = product.species.contains(&"turkey");
        let standard = match (product.cook_f, is_poultry) {
            (Some(_), false) => "us.composition.cooked-sausage",
            _ => "",
        };
        let body = json!({
            "id": self.plant.id(), "name": product.name, "productClass": class,
            "standardId": standard,
        });
        let made = self.plant.post("priya", "/v1/products", &body).await?;
        let label = self.label(product, ("", "To be written."), &json!([])).await?;
        let formula = self.plant.id();
        let path = format!("/v1/formulas/{formula}/draft");
        let content = self.content(product, (&word(&made["product"]), &label));
        let draft = self.plant.put_first("priya", &path, &json!({ "content": content })).await?;
        // The label says what the specifications make of the formula.
        let checks = &draft["checks"];
        let statement = word(&checks["statement"]);
        self.label(product, (&label, &statement), &checks["allergens"]).await?;
        let body = json!({
            "id": self.plant.id(), "draftVersion": draft["version"], "acceptWarnings": true,
        });
        let (path, subject) =
            (format!("/v1/formulas/{formula}/approve"), format!("formula:{formula}"));
        let signed = Signed {
            who: "priya",
            method: "Formulas/ApproveFormula",
            subject: &subject,
            meaning: "I have read this formula and its checks, and approve it.",
        };
        self.plant.sign(signed, &path, &body).await?;
        Ok(formula)
    }

    async fn label(
        &mut self,
        product: &Product,
        (label, statement): (&str, &str),
        allergens: &Value,
    ) -> Result<String, Failed> {
        let body = json!({
            "id": self.plant.id(), "label": label, "item": product.name, "revision": "1",
            "statement": statement, "allergens": allergens, "inForceFrom": self.now(),
        });
        Ok(word(&self.plant.post("priya", "/v1/labels", &body).await?["label"]))
    }

    fn content(&self, product: &Product, (of, label): (&str, &str)) -> Value {
        let material = |name: &str| self.materials.get(name).cloned().unwrap_or_default();
        let division = |value: &str| json!({ "value": value, "unit": "[lb_av]" });
        let line = |name: &str, pct: String| {
            let division = division("0.5");
            json!({ "material": material(name), "pct": pct, "division": division })
        };
        let meat = product.block.iter().chain(product.added);
        let mut lines: Vec<Value> = meat.map(|(name, pct)| line(name, pct.to_string())).collect();
        lines.push(line(WATER, product.water_lb.to_string()));
        if product.code == "ROPE" {
            lines.push(line(REWORK, REWORK_PCT.to_owned()));
        }
        for (name, thousandths) in product.kit {
            let mut line = line(name, Mass(*thousandths).text());
            line["kit"] = json!(KIT);
            line["division"] = division(if *thousandths < 100 { "0.001" } else { "0.005" });
            lines.push(line);
        }
        json!({
            "name": product.name, "product": of, "label": label,
            "block": Mass::lb(BLOCK_LB).json(), "blockDivision": division("0.5"),
            "expectedYieldPct": if product.cook_f.is_some() { "88" } else { "98" },
            "lines": lines, "kits": [{ "code": KIT, "title": format!("Kit of {}", product.name) }],
            "steps": [{ "code": "MIX", "title": "Mixing: lean first, then kit and water" }],
        })
    }

    /// Records what a kit holds.
    pub async fn record_kit(&mut self, product: usize, lot: &str, contents: &Contents) -> Done {
        let contents: Vec<Value> = contents
            .iter()
            .map(|(name, lot, mass)| {
                json!({ "material": self.materials.get(name), "lot": lot, "mass": mass.json() })
            })
            .collect();
        let body = json!({
            "id": self.plant.id(), "lot": lot, "formula": self.formulas[product],
            "formulaVersion": 1, "kit": KIT, "block": Mass::lb(BLOCK_LB).json(),
            "contents": contents,
        });
        self.plant.post("theo", "/v1/kits", &body).await?;
        Ok(())
    }

    /// The batch sheet, and the judgement of what stands on the scales before it is tipped.
    pub async fn may_tip(&mut self, product: usize, (kit, loose): (&str, &Contents)) -> Done {
        let body = json!({
            "id": self.plant.id(), "formula": self.formulas[product], "formulaVersion": 1,
            "block": Mass::lb(BLOCK_LB).json(),
        });
        self.plant.post("ines", "/v1/batch-sheets", &body).await?;
        let mut inputs: Vec<Value> = loose
            .iter()
            .map(|(name, lot, mass)| {
                let mut input =
                    json!({ "material": self.materials.get(name), "mass": mass.json() });
                if !lot.is_empty() {
                    input["lot"] = json!(lot);
                }
                input
            })
            .collect();
        inputs.push(json!({ "lot": kit, "kit": true }));
        let body = json!({
            "formula": self.formulas[product], "formulaVersion": 1, "inputs": inputs,
            "closing": true,
        });
        let judged = self.plant.post("ines", "/v1/batch-checks", &body).await?;
        match judged["mayTip"] == true {
            true => Ok(()),
            false => Err(format!("a batch may not be tipped: {}", judged["refusals"]).into()),
        }
    }
}
