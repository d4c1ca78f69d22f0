//! How a refused lot comes to leave after all: what its refusal named is done, and signed.
//! It never leaves a step out that the refusal asked for.

use jiff::SignedDuration;
use serde_json::json;

use super::deviations::Closing;
use super::packing::detector;
use crate::Done;
use crate::client::{Signed, word};
use crate::week::{Trouble, Week};

/// The looks between which one was missed, in minutes from the load.
const MISSED_MIN: (i64, i64) = (56, 112);

impl Week {
    /// Mends what stood in a lot's way, has it reviewed, and ships what waits of it.
    pub async fn mend(&mut self, lot: usize) -> Done {
        match self.finished[lot].trouble.take() {
            Some(Trouble::MissedLook) => self.cover(lot).await?,
            Some(Trouble::Doubtful) => self.run_again(lot).await?,
            // Back in the cooler for a while; of a sample the hold has ended.
            Some(Trouble::Warm | Trouble::Sampled) | None => {}
        }
        self.measure(lot, &[37.6, 38.0]).await?;
        self.review(&[lot]).await?;
        let mut waiting = std::mem::take(&mut self.finished[lot].waiting);
        if waiting.is_empty() {
            let pallets = self.finished[lot].pallets.clone();
            let of = self.customers.len();
            waiting = pallets.into_iter().enumerate().map(|(at, one)| (one, at % of)).collect();
        }
        for (pallet, customer) in waiting {
            let stands = self.plant.get("lee", &format!("/v1/pallets/{pallet}")).await?;
            if word(&stands["shipment"]).is_empty() {
                self.ship(&[pallet], customer).await?;
            }
        }
        Ok(())
    }

    /// A look that nobody took: the curve of the load covers it. It stays missed.
    async fn cover(&mut self, lot: usize) -> Done {
        let of = self.finished[lot].clone();
        let Some(load) = self
            .loads
            .iter()
            .find(|load| load.groups.iter().any(|group| group.racks.first() == of.racks.first()))
        else {
            return Ok(());
        };
        let after = |minutes| (load.at + SignedDuration::from_mins(minutes)).to_string();
        let (from, to, evidence) = (after(MISSED_MIN.0), after(MISSED_MIN.1), load.id.clone());
        let lots = self.rack_lots(&of.racks);
        let body = json!({
            "id": self.plant.id(), "lots": lots, "plan": self.plans.products[of.product],
            "planVersion": 1, "check": "CCP-1", "missedFrom": from, "missedTo": to,
            "evidence": evidence, "cause": "The supervisor was called to the peeler.",
            "prevention": "A second person takes the look when the supervisor is away.",
        });
        let signed = Signed {
            who: "dana",
            method: "Verification/CoverMissedCheck",
            subject: "check:CCP-1",
            meaning: "The curve covers the whole time; the look stays missed.",
        };
        self.plant.sign(signed, "/v1/missed-checks", &body).await?;
        Ok(())
    }

    /// Cases that no challenge proved pass again; one is rejected, and what was in it is shown.
    async fn run_again(&mut self, lot: usize) -> Done {
        let of = self.finished[lot].clone();
        let Some((bad, passed)) = of.doubtful.split_last() else { return Ok(()) };
        let body = json!({
            "id": self.plant.id(), "place": self.place(detector(of.line)), "passed": passed,
            "rejected": [bad], "note": "A steel sliver of 3 mm.", "observedAt": self.now(),
        });
        self.plant.post("rosa", "/v1/reruns", &body).await?;
        self.challenge(lot, true).await?;
        let body = json!({
            "id": self.plant.id(), "lot": of.lot, "serial": bad, "what": "Steel sliver",
            "sizeMm": "3", "foundAt": detector(of.line),
            "knivesAndPlates": "Grinder plate 2 is chipped at its rim; it was taken out.",
            "observedAt": self.now(),
        });
        let found = self.plant.post("rosa", "/v1/foreign-material", &body).await?;
        self.close_failed_challenge().await?;
        let id = word(&found["foreignMaterial"]);
        let body = json!({
            "id": self.plant.id(), "isEarlierTouched": false,
            "why": "All earlier cases passed before a good challenge of the same detector.",
        });
        let (path, subject) =
            (format!("/v1/foreign-material/{id}/answer"), format!("foreign_material:{id}"));
        let signed = Signed {
            who: "dana",
            method: "Verification/AnswerForeignMaterial",
            subject: &subject,
            meaning: "I have looked at what was found, and at what was made before.",
        };
        self.plant.sign(signed, &path, &body).await?;
        let pallet = self.pallet(lot, passed).await?;
        let customer = of.waiting.first().map_or(0, |(_, customer)| *customer);
        self.finished[lot].waiting.push((pallet, customer));
        Ok(())
    }

    async fn close_failed_challenge(&mut self) -> Done {
        let open = self.plant.get("dana", "/v1/deviations?open=true").await?;
        let all = open["deviations"].as_array().cloned().unwrap_or_default();
        let of_metal = all.iter().find(|one| one["check"] == "CCP-3");
        let deviation = word(&of_metal.map(|one| one["deviation"].clone()).unwrap_or_default());
        let closing = Closing {
            cause: "The detector's phase had drifted with the temperature of the product.",
            control: "Set again to the product; three pieces were found three times each.",
            prevention: "The phase is locked, and looked at whenever the product changes.",
            disposition: "release_with_support",
            text: "Every case of the span passed again before a good challenge; one is rejected.",
        };
        self.close(&deviation, &closing).await
    }
}
