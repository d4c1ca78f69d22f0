//! Checks of the answer that genealogy gets at packing and at the dock.
//! They never ask a database.

use super::*;
use crate::book::{Kind, Label, Material, Specification};
use crate::judge::cover;

const PORK: &str = "00000000-0000-4000-8000-000000000001";
const BLEND: &str = "00000000-0000-4000-8000-000000000002";
const BATCH: &str = "00000000-0000-4000-8000-000000000003";
const CASES: &str = "00000000-0000-4000-8000-000000000004";

fn lot(lot: &str, material: &str, uses: &[u32]) -> v1::OriginLot {
    let part = |lot: &u32| v1::OriginUse { lot: *lot, mass_g: Some("100".into()) };
    v1::OriginLot {
        lot: lot.into(),
        material: material.into(),
        made_at_us: 3_600_000_000,
        uses: uses.iter().map(part).collect(),
        ..Default::default()
    }
}

fn request(revision: &str, blend: &str) -> v1::LabelCoverRequest {
    let lots = vec![lot(PORK, "pork trim", &[]), lot(BLEND, blend, &[]), lot(BATCH, "", &[0, 1])];
    let lots = lots.into_iter().chain([lot(CASES, "No. 1 Rope", &[2])]).collect();
    let labelled = v1::LabelledLot {
        lot: 3,
        label: "00000000-0000-4000-8000-00000000000a".into(),
        revision: revision.into(),
        ..Default::default()
    };
    v1::LabelCoverRequest { lots, labelled: vec![labelled], at_us: 0 }
}

fn book(declared: &[&str]) -> Book {
    let material = |id: u128, name: &str, words: &str, allergens: &[&'static str]| Material {
        id: Uuid::from_u128(id),
        name: name.into(),
        kind: Kind::Other,
        kind_word: "other".into(),
        in_use: true,
        specifications: vec![Specification {
            version: 1,
            lot: None,
            in_force_from: Timestamp::UNIX_EPOCH,
            pct: Default::default(),
            allergens: allergens.to_vec(),
            agents: Vec::new(),
            statement: words.into(),
        }],
    };
    let pork = material(1, "Pork trim", "pork", &[]);
    let blend = material(2, "Spice blend", "seasoning", &["soy"]);
    let revision = Revision {
        version: 1,
        item: "No. 1 Rope".into(),
        revision: "3".into(),
        statement: "Pork, seasoning.".into(),
        allergens: declared.iter().map(|one| (*one).to_owned()).collect(),
        from: Timestamp::UNIX_EPOCH,
        to: None,
    };
    let label: Uuid = "00000000-0000-4000-8000-00000000000a".parse().expect("an id");
    Book {
        materials: [pork, blend].into_iter().map(|one| (one.id, one)).collect(),
        labels: [(label, Label { records: vec![revision] })].into_iter().collect(),
        ..Book::default()
    }
}

fn codes(request: &v1::LabelCoverRequest, book: &Book) -> Vec<String> {
    let now = Timestamp::from_second(90_000).expect("an instant");
    let question = cover_in(request, now).expect("a question");
    let cover = cover::read(&question.origins, &[3], book, now).expect("no circle");
    let of = &question.labelled[0];
    let answer = question.judge(of, of.label, (&cover, book));
    answer.reasons.into_iter().map(|reason| reason.code).collect()
}

#[test]
fn a_label_must_say_what_went_in_and_be_the_one_in_force() {
    assert_eq!(codes(&request("3", "Spice blend"), &book(&["soy"])), [] as [&str; 0]);
    assert_eq!(codes(&request("3", "Spice blend"), &book(&[])), ["ALLERGEN_NOT_ON_LABEL"]);
    assert_eq!(codes(&request("2", "Spice blend"), &book(&["soy"])), ["LABEL_NOT_IN_FORCE"]);
    assert_eq!(codes(&request("", "Other"), &book(&["soy"])), ["CONTENTS_NOT_KNOWN"]);
    let without = Book { labels: Default::default(), ..book(&["soy"]) };
    assert_eq!(codes(&request("", "Spice blend"), &without), ["NO_LABEL_IN_FORCE"]);
}

#[test]
fn each_label_that_was_in_force_while_it_was_labelled_must_say_what_went_in() {
    let at = |day: i64| day * 86_400_000_000;
    let within = |from: i64, to: i64, book: &Book| {
        let mut asked = request("", "Spice blend");
        (asked.labelled[0].from_us, asked.labelled[0].to_us) = (at(from), at(to));
        codes(&asked, book)
    };
    let mut two = book(&[]);
    let label = two.labels.values_mut().next().expect("a label");
    let mut fourth = label.records[0].clone();
    (fourth.version, fourth.revision) = (2, "4".into());
    (fourth.allergens, fourth.from) = (vec!["soy".into()], Timestamp::UNIX_EPOCH);
    fourth.from += jiff::SignedDuration::from_hours(24 * 10);
    label.records.push(fourth);
    let lacks = ["ALLERGEN_NOT_ON_LABEL"];
    assert_eq!(within(11, 12, &two), [] as [&str; 0]);
    assert_eq!(within(9, 12, &two), lacks, "the first cases carry revision 3");
    assert_eq!(within(9, 9, &two), lacks, "that revision 4 is in force mends no case");
}

#[test]
fn what_is_not_known_at_all_needs_no_label_and_what_is_known_in_part_does() {
    let mut asked = request("", "Other");
    asked.labelled[0].label = String::new();
    asked.labelled[0].product = "No. 1 Rope".into();
    asked.lots[0].material = "Chuck".into();
    let judged = |asked: &v1::LabelCoverRequest, book: &Book| {
        let question = cover_in(asked, Timestamp::UNIX_EPOCH).expect("a question");
        let cover = cover::read(&question.origins, &[3], book, question.at).expect("no circle");
        let told = question.judge(&question.labelled[0], None, (&cover, book));
        told.reasons.into_iter().map(|reason| reason.code).collect::<Vec<_>>()
    };
    let empty = Book::default();
    assert_eq!(judged(&asked, &empty), [] as [&str; 0]);
    let product = crate::book::Product {
        name: "no. 1 rope".into(),
        class: domain::formula::agents::ProductClass::Comminuted,
        standard: None,
        in_use: true,
    };
    let products = std::collections::HashMap::from([(Uuid::from_u128(20), product)]);
    let named = Book { products, ..Book::default() };
    let both = ["CONTENTS_NOT_KNOWN", "NO_LABEL_IN_FORCE"];
    assert_eq!(judged(&asked, &named), both, "it is a product that is known");
    asked.lots[0].material = "Pork trim".into();
    let known = Book { labels: Default::default(), ..book(&[]) };
    assert_eq!(judged(&asked, &known), both, "some of it is a material that is known");
}

#[test]
fn a_question_with_holes_is_refused_with_their_places() {
    let mut holes = request("3", "");
    holes.labelled[0].lot = 9;
    holes.labelled[0].label = String::new();
    let refused = cover_in(&holes, Timestamp::UNIX_EPOCH).expect_err("faults");
    let fields: Vec<_> = refused.faults.into_iter().map(|fault| fault.field).collect();
    assert_eq!(fields, ["lots[1].material", "labelled[0].product", "labelled[0].lot"]);
}
