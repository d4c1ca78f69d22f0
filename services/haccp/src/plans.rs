//! Versions of plans in memory: they never change, so what was read once is good for ever.
//! It never remembers which version is in force.

use std::collections::HashMap;
use std::sync::{Arc, PoisonError, RwLock};

use platform::error::{Failure, Reason};
use uuid::Uuid;

use crate::Haccp;
use crate::shape::plans::PlanVersion;
use crate::store;

/// The most versions kept; all go when there are more.
const KEPT_MAX: usize = 1000;

type Kept = HashMap<(Uuid, i32), Arc<PlanVersion>>;

/// The versions read so far.
#[derive(Clone, Default)]
pub struct Versions {
    kept: Arc<RwLock<Kept>>,
}

impl Haccp {
    /// A version of a plan. Refused: one that was never approved.
    pub async fn plan(&self, id: Uuid, version: i32) -> Result<Arc<PlanVersion>, Failure> {
        let kept = &self.plans.kept;
        let known =
            kept.read().unwrap_or_else(PoisonError::into_inner).get(&(id, version)).cloned();
        if let Some(known) = known {
            return Ok(known);
        }
        let row = self
            .db
            .read("haccp.plan_version", |conn| Box::pin(store::plans::version(conn, (id, version))))
            .await?;
        let row = row.ok_or_else(|| not_in_force(id, version))?;
        let plan = Arc::new(PlanVersion::of(&row)?);
        let mut kept = kept.write().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= KEPT_MAX {
            kept.clear();
        }
        kept.insert((id, version), plan.clone());
        Ok(plan)
    }
}

/// The refusal of a version that is not in force.
pub fn not_in_force(plan: Uuid, version: i32) -> Failure {
    Failure::refused(vec![Reason {
        code: "PLAN_NOT_IN_FORCE",
        subject: format!("plan {plan} version {version}"),
        message: "This version is not in force, nor are the lots bound to it.".into(),
        who: "QA".into(),
        way_on: "Read the plan again and judge by the version in force.".into(),
    }])
}
