//! Loads as they were judged, in memory, so that one that is done is not judged at every look.
//! It never gives a judgement when any record that it rests on is another or new.

use std::collections::HashMap;
use std::sync::{Arc, PoisonError, RwLock};

use uuid::Uuid;
use wire::v1;

use crate::store::cooking::whole::Sources;

/// The most loads kept; all go when there are more.
const KEPT_MAX: usize = 400;

/// A load with all that its judgement rests on, which is compared as a whole.
struct Kept {
    sources: Sources,
    load: v1::Load,
}

/// The loads kept.
#[derive(Clone, Default)]
pub struct Judged {
    kept: Arc<RwLock<HashMap<Uuid, Arc<Kept>>>>,
}

impl Judged {
    /// The load as it was judged by exactly these sources; nothing when it was not, or not by
    /// them.
    pub fn find(&self, sources: &Sources) -> Option<v1::Load> {
        let kept = self.kept.read().unwrap_or_else(PoisonError::into_inner);
        let kept = kept.get(&sources.head.load.id)?.clone();
        (kept.sources == *sources).then(|| kept.load.clone())
    }

    /// Keeps a judgement that no passing of time can change.
    pub fn keep(&self, sources: Sources, load: v1::Load) {
        let mut kept = self.kept.write().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= KEPT_MAX {
            kept.clear();
        }
        kept.insert(sources.head.load.id, Arc::new(Kept { sources, load }));
    }
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;
    use jiff::civil::date;
    use jiff_diesel::ToDiesel as _;

    use super::*;
    use crate::store::cooking::whole::{Head, LoadRow, RackRow};

    fn sources(pulled_s: i64, blocks: &[u128]) -> Sources {
        let at = |second: i64| Timestamp::from_second(second).expect("an instant").to_diesel();
        let (id, lot) = (Uuid::from_u128(1), Uuid::from_u128(2));
        let load = LoadRow {
            id,
            house: Uuid::from_u128(3),
            house_name: "House 1".into(),
            note: String::new(),
            observed_at: at(0),
            recorded_at: at(0),
            entered_by_name: "Marcus Vey".into(),
            day: date(2026, 11, 25).to_diesel(),
        };
        let rack = RackRow {
            load: id,
            lot,
            lot_code: "26329-1".into(),
            plan: None,
            version: None,
            pulled_at: Some(at(pulled_s)),
            deviation: None,
        };
        let head = Head {
            load,
            racks: vec![rack],
            probes: Vec::new(),
            left_out: Vec::new(),
            standing: Vec::new(),
        };
        let blocks = blocks.iter().copied().map(Uuid::from_u128).collect();
        Sources { head, hand: Vec::new(), blocks }
    }

    #[test]
    fn a_judgement_is_given_for_the_very_same_records_alone() {
        let kept = Judged::default();
        let load = v1::Load { note: "as judged".into(), ..v1::Load::default() };
        assert_eq!(kept.find(&sources(60, &[7])), None);
        kept.keep(sources(60, &[7]), load.clone());
        assert_eq!(kept.find(&sources(60, &[7])), Some(load.clone()));
        assert_eq!(kept.find(&sources(60, &[7, 8])), None, "a block came");
        assert_eq!(kept.find(&sources(61, &[7])), None, "the pull is another");
        kept.keep(sources(60, &[7, 8]), load.clone());
        assert_eq!(kept.find(&sources(60, &[7])), None, "what was judged before is forgotten");
    }
}
