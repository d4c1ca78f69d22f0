//! The head of a lot's file: its code, and what stands in its way, at one look.
//! It never calls a lot clear: only the judgement of a shipment does.

use maud::{Markup, html};
use wire::v1;

use super::gather::File;
use crate::pages::shown::{self, mark};
use crate::pages::visit::Visit;

/// The head.
pub fn shown(visit: &Visit, file: &File) -> Markup {
    let (words, lot) = (visit.words, &file.lot);
    html! {
        p.kind { (words.one_of("lot-kind", &lot.kind)) }
        h1 { (words.say("lot")) " " span.code { (lot.code) } }
        p.material { (lot.material) }
        ul.summary aria-label=(words.say("summary")) {
            li { (holds(visit, file)) }
            li { (deviations(visit, file)) }
            li { (readings(visit, file)) }
            li { (review(visit, file)) }
            @for (word, _) in file.problems() {
                li { (mark(visit, "missing")) " " (words.with("part-missing", [
                    ("part", words.say(word).into())
                ])) }
            }
        }
        p.ways.no-print {
            a.button href={ "/reading/" (lot.lot) } { (words.say("enter-reading")) } " "
            a.button href={ "/weigh/" (lot.lot) } { (words.say("weigh")) } " "
            a.button href={ "/lots/" (lot.lot) "/trace" } { (words.say("trace")) }
        }
        p.asked { (words.say("file-as-of")) " "
            (shown::instant(visit, &visit.pages.gateway.keeper.clock.now().to_string())) ". "
            (words.say("file-paper")) }
    }
}

fn unread(visit: &Visit, word: &str) -> Markup {
    let part = visit.words.say(word);
    let unread = visit.words.with("summary-unread", [("part", part.into())]);
    html! { (mark(visit, "not-judged")) " " (unread) }
}

fn holds(visit: &Visit, file: &File) -> Markup {
    let words = visit.words;
    let Ok(holds) = &file.holds else { return unread(visit, "file-holds") };
    let standing = holds.rows.iter().filter(|hold| hold.ended_at.is_empty()).count();
    html! {
        @if standing == 0 { (mark(visit, "no-hold")) }
        @else { (mark(visit, "on-hold")) " " a href="#holds" {
            (words.with("summary-holds", [("count", standing.into())]))
        } }
    }
}

fn deviations(visit: &Visit, file: &File) -> Markup {
    let words = visit.words;
    let Ok(found) = &file.deviations else { return unread(visit, "file-deviations") };
    let open = found.rows.iter().filter(|deviation| deviation.closed_at.is_empty()).count();
    let closed = found.rows.len() - open;
    html! {
        @if open > 0 { (mark(visit, "open")) " " a href="#deviations" {
            (words.with("summary-open", [("count", open.into())]))
        } }
        @else if closed > 0 { (mark(visit, "closed")) " " a href="#deviations" {
            (words.with("summary-closed", [("count", closed.into())]))
        } }
        @else { (mark(visit, "none")) " " (words.say("summary-no-deviations")) }
    }
}

fn readings(visit: &Visit, file: &File) -> Markup {
    let words = visit.words;
    let Ok(found) = &file.readings else { return unread(visit, "file-readings") };
    let firsts = found.rows.iter().filter(|reading| reading.supersedes.is_empty());
    let is = |reading: &&v1::Reading, verdict: v1::Verdict| reading.verdict() == verdict;
    let failed = firsts.clone().filter(|reading| is(reading, v1::Verdict::Fail)).count();
    let unknown = firsts.clone().filter(|reading| is(reading, v1::Verdict::Undetermined)).count();
    let all = firsts.count();
    html! {
        @if failed > 0 { (mark(visit, "not-met")) " " }
        @else if unknown > 0 { (mark(visit, "undetermined")) " " }
        @else if all > 0 { (mark(visit, "met")) " " }
        @else { (mark(visit, "none")) " " }
        a href="#readings" { (words.with("summary-readings", [
            ("count", all.into()), ("failed", failed.into()), ("unknown", unknown.into())
        ])) }
    }
}

fn review(visit: &Visit, file: &File) -> Markup {
    let words = visit.words;
    let Ok(clearance) = &file.clearance else { return unread(visit, "file-review") };
    html! {
        @if clearance.is_reviewed { (mark(visit, "reviewed")) " " a href="#review" {
            (words.say("summary-reviewed"))
        } }
        @else { (mark(visit, "open")) " " a href="#review" {
            (words.with("summary-not-reviewed", [("count", clearance.reasons.len().into())]))
        } }
    }
}
