//! What Dana Okrent signs: dispositions, destruction, holds for a sample and their end.
//! It never frees a lot in any other way than the plant offers.

use serde_json::json;

use crate::Done;
use crate::client::{Signed, word};
use crate::week::{Load, Task, Trouble, Week};

/// The four parts of a corrective action, and what becomes of the product.
pub struct Closing<'c> {
    pub cause: &'c str,
    pub control: &'c str,
    pub prevention: &'c str,
    pub disposition: &'c str,
    pub text: &'c str,
}

impl Week {
    /// Closes a deviation.
    pub async fn close(&mut self, deviation: &str, closing: &Closing<'_>) -> Done {
        let body = json!({
            "id": self.plant.id(), "cause": closing.cause, "control": closing.control,
            "prevention": closing.prevention, "disposition": closing.disposition,
            "dispositionText": closing.text,
        });
        let path = format!("/v1/deviations/{deviation}/close");
        let subject = format!("deviation:{deviation}");
        let signed = Signed {
            who: "dana",
            method: "Haccp/CloseDeviation",
            subject: &subject,
            meaning: "I stand for this corrective action.",
        };
        self.plant.sign(signed, &path, &body).await?;
        Ok(())
    }

    /// The cook that was cut short: cooked again in House 3.
    pub async fn recook(&mut self, load: usize, group: usize) -> Done {
        let racks = self.loads[load].groups[group].racks.clone();
        let lots = self.rack_lots(&racks);
        let deviation = self.deviation_of(&lots[0]).await?;
        let closing = Closing {
            cause: "The steam valve of House 2 stuck closed; the fitter has changed its seat.",
            control: "House 3 runs on steam; its wet bulb was seen at 158 [degF] before loading.",
            prevention: "The valve is exercised at each pre-operational look.",
            disposition: "recook",
            text: "All racks are cooked again at once to the limit of the plan, from 120 [degF].",
        };
        self.close(&deviation, &closing).await?;
        let again = self.loads.len();
        let of = &self.loads[load];
        let load = Load {
            at: self.plant.now + jiff::SignedDuration::from_mins(6),
            house: "House 3",
            again: Some((load, group)),
            groups: Vec::new(),
            ..of.clone()
        };
        self.put(load.at, Task::Load(again));
        self.loads.push(load);
        Ok(())
    }

    /// The chill that failed: its racks are destroyed.
    pub async fn destroy(&mut self, load: usize, group: usize) -> Done {
        let racks = self.loads[load].groups[group].racks.clone();
        let lots = self.rack_lots(&racks);
        let deviation = self.deviation_of(&lots[0]).await?;
        let closing = Closing {
            cause: "Six racks stood against the coil; air went around them, not through.",
            control: "The cell holds three racks a side again; today's first reading was in time.",
            prevention: "Rails mark where racks stand. A reading at 130 [degF] is called for.",
            disposition: "destroy",
            text: "No support covers uncured product beyond the first limb: all of it is denatured.",
        };
        self.close(&deviation, &closing).await?;
        for ((batch, rack), lot) in racks.iter().zip(lots) {
            let mass = self.rack((*batch, *rack)).mass;
            let body = json!({
                "id": self.plant.id(), "lot": lot, "mass": mass.json(), "deviation": deviation,
                "reason": "Denatured and rendered; Jo Brandvold saw it.",
                "observedAt": self.now(),
            });
            let subject = format!("lot:{lot}");
            let signed = Signed {
                who: "dana",
                method: "Making/RecordDestruction",
                subject: &subject,
                meaning: "I saw this product destroyed.",
            };
            self.plant.sign(signed, "/v1/destructions", &body).await?;
            self.batches[*batch].racks[*rack].mass = crate::mass::Mass::default();
        }
        Ok(())
    }

    /// The inspector takes a sample: the lot is held, and stands in the own cold store.
    pub async fn sample(&mut self, lot: usize) -> Done {
        let of = self.finished[lot].clone();
        let body = json!({
            "id": self.plant.id(), "lots": [of.lot], "reason": "Sample result pending",
        });
        let hold = self.plant.post("dana", "/v1/holds", &body).await?;
        self.finished[lot].hold = word(&hold["hold"]);
        let body = json!({
            "id": self.plant.id(), "lots": [of.lot], "pallets": of.pallets,
            "place": self.place("Cold store"), "observedAt": self.now(),
        });
        self.plant.post("lee", "/v1/transfers", &body).await?;
        Ok(())
    }

    /// The result has come: nothing was found, and the hold ends.
    pub async fn result(&mut self, lot: usize) -> Done {
        let of = self.finished[lot].clone();
        let body = json!({
            "id": self.plant.id(),
            "reason": "Result of the sample: no Listeria monocytogenes, no Salmonella found.",
        });
        let (path, subject) = (format!("/v1/holds/{}/end", of.hold), format!("hold:{}", of.hold));
        let signed = Signed {
            who: "dana",
            method: "Genealogy/EndHold",
            subject: &subject,
            meaning: "I have read the result and end this hold.",
        };
        self.plant.sign(signed, &path, &body).await?;
        let body = json!({
            "id": self.plant.id(), "lots": [of.lot], "pallets": of.pallets,
            "place": self.place("Cooler 4"), "observedAt": self.now(),
        });
        self.plant.post("lee", "/v1/transfers", &body).await?;
        self.finished[lot].trouble = None;
        self.put_in(10, Task::Mend(lot));
        Ok(())
    }

    /// Whether a lot waits for the inspector's result.
    pub fn is_sampled(&self, lot: usize) -> bool {
        self.finished[lot].trouble == Some(Trouble::Sampled)
    }

    /// Signs the review of lots as they stand; those that cannot be reviewed yet are left out.
    pub async fn review(&mut self, lots: &[usize]) -> Done {
        let mut named = Vec::new();
        for &at in lots {
            let lot = self.finished[at].lot.clone();
            let path = format!("/v1/lots/{lot}/clearance");
            let clearance = self.plant.get("dana", &path).await?;
            if clearance["isReviewable"] == true {
                named.push(json!({ "lot": lot, "digest": clearance["digest"] }));
            }
        }
        if named.is_empty() {
            return Ok(());
        }
        let review = self.plant.id();
        let body = json!({ "id": review, "lots": named });
        let subject = format!("review:{review}");
        let signed = Signed {
            who: "dana",
            method: "Verification/SignReview",
            subject: &subject,
            meaning: "I have reviewed the records of these lots, and they are complete.",
        };
        self.plant.sign(signed, "/v1/reviews", &body).await?;
        Ok(())
    }
}
