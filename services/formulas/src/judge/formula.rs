//! The checks of a formula at its usual block, as it is typed and before it is approved.
//! It never puts one in force.

use domain::exact::Exact;
use domain::formula::composition::Finished;
use domain::formula::ways_out::target_room;
use domain::units::Quantity;
use domain::verdict::Verdict;
use jiff::Timestamp;
use platform::error::Reason;

use super::label::{self, Held};
use super::{Check, Portion, Whole, agents, composition};
use crate::book::{Book, Kind, Material, Recipe};

/// Divisions of room that a proposed target leaves.
const DIVISIONS_OF_ROOM: u32 = 4;

/// What a signer must know.
#[derive(Clone, Debug)]
pub struct Warning {
    pub code: &'static str,
    pub subject: String,
    pub message: String,
    pub line: Option<usize>,
    pub proposal: Option<Quantity>,
    pub proposal_pct: Option<Exact>,
}

/// What a formula was judged.
#[derive(Clone, Debug, Default)]
pub struct Judged {
    pub checks: Vec<Check>,
    pub warnings: Vec<Warning>,
    pub held: Held,
    pub finished: Option<Finished>,
}

/// Judges a formula at its usual block by what is in force at an instant.
pub fn judge(recipe: &Recipe, book: &Book, at: Timestamp) -> Judged {
    let mut judged = Judged::default();
    let known: Vec<Option<&Material>> =
        recipe.lines.iter().map(|line| book.materials.get(&line.material)).collect();
    judged.checks.extend(material_checks(&known, at));
    judged.checks.push(meat_block(recipe, &known));
    judged.checks.extend(kits(recipe));
    let Some(product) = book.products.get(&recipe.product).filter(|product| product.in_use) else {
        let reason = "the product is not known or no longer in use";
        judged.checks.push(Check::because("PRODUCT", "product", Verdict::Fail, reason));
        return judged;
    };
    let Some(portions) = portions(recipe, &known, at) else { return judged };
    let whole = Whole {
        product,
        portions,
        yield_pct: recipe.expected_yield_pct.clone(),
        unit: recipe.block.unit,
        block_division: recipe.block_division.clone(),
    };
    judged.checks.extend(agents::checks(&whole));
    let (finished, checks) = composition(&whole);
    judged.finished = finished;
    judged.checks.extend(checks);
    let label = book.labels.get(&recipe.label);
    judged.checks.extend(label::checks(&whole.portions, label, at));
    let lines: Vec<_> = whole.portions.iter().flat_map(Portion::declared).collect();
    judged.held = label::held(&lines);
    judged.warnings = targets(recipe, &whole);
    judged.warnings.extend(undetermined(&judged.checks));
    judged
}

/// The reasons for which a formula cannot be approved.
pub fn refusals(judged: &Judged) -> Vec<Reason> {
    let refuses = |check: &&Check| match check.code {
        // What cannot be judged of a restricted ingredient is not taken for good.
        "AGENT" => check.verdict() != Verdict::Pass,
        _ => check.verdict() == Verdict::Fail,
    };
    let failed = judged.checks.iter().filter(|check| check.counts).filter(refuses);
    failed
        .map(|check| Reason {
            code: "CHECK_NOT_MET",
            subject: format!("{} {}", check.code.to_lowercase(), check.subject),
            message: format!("{}.", check.text()),
            who: "developer".into(),
            way_on: way_on(check).into(),
        })
        .collect()
}

fn way_on(check: &Check) -> &'static str {
    match check.code {
        "MATERIAL" => "Add a specification, or take a material that has one.",
        "MEAT_BLOCK" => "Set the shares of raw meat so that they make 100 % together.",
        "AGENT" => "Set the line to the most that is shown, less room for the scale.",
        "COMPOSITION" => "Change the lines or the expected yield until the limit is met.",
        "LABEL" | "ALLERGEN" | "DECLARATION" => {
            "Put a revision of the label in force that says it, or change the line."
        }
        _ => "Change the draft until the check is met.",
    }
}

/// The warnings that an approval asks to be accepted.
pub fn to_accept(judged: &Judged) -> Vec<Reason> {
    let reason = |warning: &Warning| Reason {
        code: warning.code,
        subject: warning.subject.clone(),
        message: warning.message.clone(),
        who: "developer".into(),
        way_on: match (&warning.proposal, &warning.proposal_pct) {
            (Some(mass), Some(pct)) => format!(
                "Set the target to {mass}, {pct} % of the meat block, which leaves \
                 {DIVISIONS_OF_ROOM} divisions; or approve with accept_warnings."
            ),
            _ => "Change the draft, or approve with accept_warnings.".into(),
        },
    };
    judged.warnings.iter().map(reason).collect()
}

fn material_checks(known: &[Option<&Material>], at: Timestamp) -> Vec<Check> {
    let check = |(line, material): (usize, &Option<&Material>)| {
        let Some(material) = material else {
            let reason = format!("line {line}: there is no such material");
            return Check::because("MATERIAL", "unknown", Verdict::Fail, reason).about(vec![line]);
        };
        let (verdict, reason) = if material.kind == Kind::Packaging {
            (Verdict::Fail, format!("{} is packaging and no part of a batch", material.name))
        } else if !material.in_use {
            (Verdict::Fail, format!("{} is no longer in use", material.name))
        } else if material.specification(None, at).is_none() {
            (Verdict::Fail, format!("{} has no specification in force", material.name))
        } else {
            (Verdict::Pass, format!("{} has a specification in force", material.name))
        };
        Check::because("MATERIAL", &material.name, verdict, reason).about(vec![line])
    };
    known.iter().enumerate().map(check).collect()
}

fn meat_block(recipe: &Recipe, known: &[Option<&Material>]) -> Check {
    let is_raw = |at: &usize| known[*at].is_some_and(|material| material.kind.is_raw());
    let raw: Vec<_> = (0..known.len()).filter(is_raw).collect();
    let sum: Exact = raw.iter().map(|at| recipe.lines[*at].pct.clone()).sum();
    let verdict = Verdict::met(sum == Exact::whole(100));
    let reason = format!("the lines of raw meat make {sum} % of the meat block, asked 100 %");
    Check::because("MEAT_BLOCK", "raw meat", verdict, reason).about(raw)
}

fn kits(recipe: &Recipe) -> Vec<Check> {
    let filled = |kit: &String| {
        let lines: Vec<_> =
            (0..recipe.lines.len()).filter(|at| recipe.lines[*at].kit == *kit).collect();
        let verdict = Verdict::met(!lines.is_empty());
        let reason = match verdict {
            Verdict::Pass => format!("{} lines are weighed into kit {kit}", lines.len()),
            _ => format!("no line is weighed into kit {kit}"),
        };
        Check::because("KIT", kit, verdict, reason).about(lines)
    };
    recipe.kits.iter().map(filled).collect()
}

/// The lines as portions at the usual block; nothing while a material is not known.
fn portions<'b>(
    recipe: &Recipe,
    known: &[Option<&'b Material>],
    at: Timestamp,
) -> Option<Vec<Portion<'b>>> {
    let portion = |(line, material): (&crate::book::RecipeLine, &Option<&'b Material>)| {
        let material = (*material)?;
        let mass = &recipe.block.value * &line.pct / Exact::whole(100);
        Some(Portion {
            material,
            specification: material.specification(None, at),
            lot: None,
            kit: None,
            mass: Quantity::new(mass, recipe.block.unit),
            division: line.division.clone(),
            origin: None,
        })
    };
    recipe.lines.iter().zip(known).map(portion).collect()
}

/// Targets from which one division more crosses a limit.
fn targets(recipe: &Recipe, whole: &Whole<'_>) -> Vec<Warning> {
    let (batch, owners) = whole.batch();
    let mut warnings = Vec::new();
    for (at, line) in batch.lines.iter().enumerate() {
        let (Some(active), portion) = (&line.active, &whole.portions[owners[at]]) else {
            continue;
        };
        let name = &portion.material.name;
        let warning = |code, message| Warning {
            code,
            subject: format!("line {}", owners[at]),
            message,
            line: Some(owners[at]),
            proposal: None,
            proposal_pct: None,
        };
        let Some(division) = &portion.division else {
            let text =
                format!("{name} brings {} and names no scale division.", active.agent.word());
            warnings.push(warning("DIVISION_MISSING", text));
            continue;
        };
        let room = target_room(&batch, at, division, DIVISIONS_OF_ROOM);
        let Some(room) = room.filter(|room| room.stands_on_the_limit) else { continue };
        let text = format!(
            "{name}: the target {} of {} stands on the limit for {}: one division of {division} \
             more stops a batch.",
            portion.mass,
            recipe.block,
            active.agent.word()
        );
        let pct = room
            .proposal
            .as_ref()
            .and_then(|mass| (mass.base() * Exact::whole(100)).checked_div(&recipe.block.base()));
        let new = warning("TARGET_ON_LIMIT", text);
        warnings.push(Warning { proposal: room.proposal, proposal_pct: pct, ..new });
    }
    warnings
}

fn undetermined(checks: &[Check]) -> Vec<Warning> {
    let open = checks.iter().filter(|check| check.counts && check.code != "AGENT");
    let open = open.filter(|check| check.verdict() == Verdict::Undetermined);
    let warning = |check: &Check| Warning {
        code: if check.subject == "order" { "DECLARATION_ORDER" } else { "UNDETERMINED" },
        subject: format!("{} {}", check.code.to_lowercase(), check.subject),
        message: format!("{}.", check.text()),
        line: None,
        proposal: None,
        proposal_pct: None,
    };
    open.map(warning).collect()
}
