//! Asks every service at once what it knows of a lot.
//! It never lets one part that fails take the others with it.

use futures_util::future::join_all;
use futures_util::join;
use prost::Message as _;
use serde_json::Value;
use wire::v1;

use super::checkpoint;
use crate::pages::files;
use crate::pages::methods;
use crate::pages::visit::{Visit, Whole};
use crate::problem::Problem;

/// What a service answered, or why it did not.
pub type Part<T> = Result<T, Problem>;

/// Racks whose cooks are shown at most; more are told.
pub const RACKS_MAX: usize = 40;

/// Loads shown at most; more are told.
const LOADS_MAX: i32 = 100;

/// A load with its curves.
pub struct Cooked {
    /// The load.
    pub load: v1::Load,
    /// Its curves.
    pub curves: Part<v1::LoadCurves>,
}

/// The loads of the racks that the lot is, or came of.
pub struct Cooks {
    /// The loads, each once.
    pub loads: Vec<Cooked>,
    /// The racks that were asked about.
    pub racks: Vec<String>,
    /// True when there are more racks than were asked about, or more loads of one than were read.
    pub has_more: bool,
}

/// Everything about a lot.
pub struct File {
    pub lot: v1::Lot,
    pub plan: Part<v1::Plan>,
    pub made_by: Option<Part<v1::Transformation>>,
    pub back: Part<v1::Trace>,
    pub forward: Part<v1::Trace>,
    pub readings: Part<Whole<v1::Reading>>,
    pub holds: Part<Whole<v1::Hold>>,
    pub deviations: Part<Whole<v1::Deviation>>,
    pub items: Part<Whole<v1::LotItem>>,
    pub clearance: Part<v1::Clearance>,
    pub cooks: Part<Cooks>,
    pub weighings: Part<Whole<v1::Weighing>>,
    pub yields: Part<v1::YieldReport>,
    pub files: Part<Whole<v1::File>>,
    pub checkpoint: Part<Value>,
}

impl File {
    /// Reads all of it. Errors: the lot itself cannot be read.
    pub async fn gather(visit: &Visit, lot: &str) -> Result<Self, Problem> {
        let question = v1::GetLotRequest { lot: lot.to_owned() };
        let found = visit.ask(methods::GET_LOT, question).await?;
        let plan = v1::GetPlanRequest { plan: found.plan.clone() };
        let clearance = v1::GetClearanceRequest { lot: lot.to_owned() };
        let (ways, safety, (weighings, yields), (plan, made_by, clearance, checkpoint)) =
            join!(ways_and_cooks(visit, &found), safety(visit, lot), weighed(visit, lot), async {
                join!(
                    visit.ask(methods::GET_PLAN, plan),
                    made_by(visit, &found),
                    visit.ask(methods::GET_CLEARANCE, clearance),
                    checkpoint::ask(visit),
                )
            });
        let ((back, cooks), forward) = ways;
        let files = attached(visit, lot, &cooks).await;
        let (readings, holds, deviations, items) = safety;
        Ok(Self {
            lot: found,
            plan,
            made_by,
            back,
            forward,
            readings,
            holds,
            deviations,
            items,
            clearance,
            cooks,
            weighings,
            yields,
            files,
            checkpoint,
        })
    }

    /// The parts that could not be read, by the message that names each.
    pub fn problems(&self) -> Vec<(&'static str, &Problem)> {
        let made_by = self.made_by.as_ref().and_then(|part| part.as_ref().err());
        let parts = [
            ("file-plan", self.plan.as_ref().err()),
            ("file-made", made_by),
            ("file-from", self.back.as_ref().err()),
            ("file-to", self.forward.as_ref().err()),
            ("file-readings", self.readings.as_ref().err()),
            ("file-weighings", self.weighings.as_ref().err()),
            ("file-yields", self.yields.as_ref().err()),
            ("file-cooks", self.cooks.as_ref().err()),
            ("files", self.files.as_ref().err()),
            ("file-deviations", self.deviations.as_ref().err()),
            ("file-holds", self.holds.as_ref().err()),
            ("file-review", self.clearance.as_ref().err()),
            ("file-items", self.items.as_ref().err()),
            ("file-log", self.checkpoint.as_ref().err()),
        ];
        parts.into_iter().filter_map(|(word, problem)| Some((word, problem?))).collect()
    }

    /// Every caution of its verdicts, each once.
    pub fn cautions(&self) -> Vec<&str> {
        let readings = self.readings.iter().flat_map(|readings| &readings.rows);
        let readings = readings.flat_map(|reading| &reading.cautions);
        let loads = self.cooks.iter().flat_map(|cooks| &cooks.loads);
        let loads = loads.flat_map(|cooked| &cooked.load.cautions);
        let clearance = self.clearance.iter().flat_map(|clearance| &clearance.cautions);
        let mut all: Vec<&str> =
            readings.chain(loads).chain(clearance).map(String::as_str).collect();
        all.sort_unstable();
        all.dedup();
        all
    }
}

type Ways = ((Part<v1::Trace>, Part<Cooks>), Part<v1::Trace>);

/// Where it came from with the cooks on that way, and where it went.
async fn ways_and_cooks(visit: &Visit, lot: &v1::Lot) -> Ways {
    let trace = |direction: &str| {
        let (lot, direction) = (lot.lot.clone(), direction.to_owned());
        visit.ask(methods::TRACE_LOT, v1::TraceLotRequest { lot, direction })
    };
    let back = async {
        let back = trace("back").await;
        let cooks = cooks(visit, lot, &back).await;
        (back, cooks)
    };
    join!(back, trace("forward"))
}

async fn cooks(visit: &Visit, lot: &v1::Lot, back: &Part<v1::Trace>) -> Part<Cooks> {
    let mut racks: Vec<&str> = back
        .iter()
        .flat_map(|back| &back.lots)
        .filter(|found| found.kind == "rack")
        .map(|found| found.lot.as_str())
        .collect();
    if lot.kind == "rack" && !racks.contains(&lot.lot.as_str()) {
        racks.push(&lot.lot);
    }
    // Without the trace nobody knows which racks a finished lot came of.
    if let (Err(problem), true) = (back, racks.is_empty()) {
        return Err(problem.clone());
    }
    let has_more = racks.len() > RACKS_MAX;
    racks.truncate(RACKS_MAX);
    let found = loads_of(visit, &racks).await?;
    let has_more = has_more || found.has_more;
    let loads = join_all(found.rows.into_iter().map(|load| cooked(visit, load))).await;
    let racks = racks.into_iter().map(str::to_owned).collect();
    Ok(Cooks { loads, racks, has_more })
}

/// A load with its curves.
async fn cooked(visit: &Visit, load: v1::Load) -> Cooked {
    let curves = v1::GetLoadCurvesRequest { load: load.load.clone() };
    Cooked { curves: visit.ask(methods::GET_LOAD_CURVES, curves).await, load }
}

/// The loads in which any of the racks was, each as it is judged now.
async fn loads_of(visit: &Visit, racks: &[&str]) -> Part<Whole<v1::Load>> {
    if racks.is_empty() {
        return Ok(Whole { rows: Vec::new(), has_more: false });
    }
    let question = v1::ListLoadsRequest {
        lots: racks.iter().map(|rack| (*rack).to_owned()).collect(),
        page_size: LOADS_MAX,
        judged: true,
        ..Default::default()
    };
    let answer = visit.ask(methods::LIST_LOADS, question).await?;
    Ok(Whole { rows: answer.loads, has_more: !answer.next_page_token.is_empty() })
}

/// Its weighings, and the shrink between its stages.
async fn weighed(visit: &Visit, lot: &str) -> (Part<Whole<v1::Weighing>>, Part<v1::YieldReport>) {
    let weighings = |page_size, page_token| async move {
        let question = v1::ListWeighingsRequest { lot: lot.to_owned(), page_size, page_token };
        let answer = visit.ask(methods::LIST_WEIGHINGS, question).await?;
        Ok((answer.weighings, answer.next_page_token))
    };
    let question = v1::GetYieldsRequest { lot: lot.to_owned(), ..Default::default() };
    join!(visit.whole(weighings), visit.ask(methods::GET_YIELDS, question))
}

async fn made_by(visit: &Visit, lot: &v1::Lot) -> Option<Part<v1::Transformation>> {
    if lot.made_by.is_empty() || lot.kind == "opening_stock" {
        return None;
    }
    let question = v1::GetTransformationRequest { transformation: lot.made_by.clone() };
    Some(visit.ask(methods::GET_TRANSFORMATION, question).await)
}

type Safety = (
    Part<Whole<v1::Reading>>,
    Part<Whole<v1::Hold>>,
    Part<Whole<v1::Deviation>>,
    Part<Whole<v1::LotItem>>,
);

/// Readings, holds, deviations and open items of a lot.
async fn safety(visit: &Visit, lot: &str) -> Safety {
    let readings = |page_size, page_token| async move {
        let question = v1::ListReadingsRequest {
            lot: lot.to_owned(),
            page_size,
            page_token,
            ..Default::default()
        };
        let answer = visit.ask(methods::LIST_READINGS, question).await?;
        Ok((answer.readings, answer.next_page_token))
    };
    let holds = |page_size, page_token| async move {
        let question = v1::ListHoldsRequest { lot: lot.to_owned(), page_size, page_token };
        let answer = visit.ask(methods::LIST_HOLDS, question).await?;
        Ok((answer.holds, answer.next_page_token))
    };
    let deviations = |page_size, page_token| async move {
        let of_lot = v1::ListDeviationsRequest { lot: lot.to_owned(), ..Default::default() };
        let question = v1::ListDeviationsRequest { page_size, page_token, ..of_lot };
        let answer = visit.ask(methods::LIST_DEVIATIONS, question).await?;
        Ok((answer.deviations, answer.next_page_token))
    };
    let items = |page_size, page_token| async move {
        let question = v1::ListLotItemsRequest { answered: true, page_size, page_token };
        let answer = visit.ask(methods::LIST_LOT_ITEMS, question).await?;
        Ok((answer.items, answer.next_page_token))
    };
    let (readings, holds, deviations, items) = join!(
        visit.whole(readings),
        visit.whole(holds),
        visit.whole(deviations),
        visit.whole(items),
    );
    let items = items.map(|mut items: Whole<v1::LotItem>| {
        items.rows.retain(|item| item.lots.iter().any(|of| of == lot));
        items
    });
    (readings, holds, deviations, items)
}

/// The files about the lot and what names it, and about the loads that are shown.
async fn attached(visit: &Visit, lot: &str, cooks: &Part<Cooks>) -> Part<Whole<v1::File>> {
    let loads = cooks.iter().flat_map(|cooks| &cooks.loads);
    let loads = loads.map(|cooked| format!("load:{}", cooked.load.load)).collect::<Vec<_>>();
    let (of_lot, of_loads) = join!(
        files::of_lot(visit, lot),
        join_all(loads.iter().map(|about| files::about(visit, about)))
    );
    let mut all = of_lot?;
    for found in of_loads {
        let found = found?;
        all.has_more |= found.has_more;
        all.rows.extend(found.rows);
    }
    all.rows.sort_by(|one, other| one.file.cmp(&other.file));
    all.rows.dedup_by(|one, other| one.file == other.file);
    Ok(all)
}

/// The bytes of a question without fields.
pub fn nothing() -> Vec<u8> {
    v1::GetPlantSettingsRequest {}.encode_to_vec()
}
