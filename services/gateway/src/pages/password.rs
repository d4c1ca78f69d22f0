//! The page at which people take a password of their own.
//! It never shows a password back.

use maud::html;
use platform::error::Kind;
use wire::v1;

use super::answer::Answer;
use super::asked::Verb;
use super::visit::{Visit, is_signed_out};
use super::{layout, methods};
use crate::problem::Problem;

/// Shows the page, or changes the password.
pub async fn answer(visit: &Visit) -> Result<Answer, Problem> {
    match visit.asked.verb {
        Verb::Get => Ok(show(visit, None)),
        Verb::Post => change(visit).await,
    }
}

async fn change(visit: &Visit) -> Result<Answer, Problem> {
    let form = &visit.asked.form;
    let (old, new) = (form.raw("old").to_owned(), form.raw("new").to_owned());
    if new != form.raw("again") {
        let fault = Problem::new(Kind::BadInput, visit.words.say("password-not-same"));
        return Ok(show(visit, Some(&fault)));
    }
    let question = v1::ChangePasswordRequest { old_password: old, new_password: new };
    match visit.ask_once(methods::CHANGE_PASSWORD, question).await {
        Ok(_) => {}
        Err(problem) if is_signed_out(&problem) => return Err(problem),
        Err(problem) => return Ok(show(visit, Some(&problem))),
    }
    let home = Answer::see("/");
    let Some(session) = &visit.session else { return Ok(home) };
    // The roles come with the next tokens.
    let next = visit.pages.refresher.next(&visit.pages.gateway, session).await?;
    Ok(match visit.pages.sealer.cookie(&next) {
        Some(cookie) => home.with_cookie(cookie),
        None => home,
    })
}

fn show(visit: &Visit, problem: Option<&Problem>) -> Answer {
    let words = visit.words;
    let title = words.say("password-own");
    let must = visit.session.as_ref().is_some_and(|session| session.must_change_password);
    let body = html! {
        h1 { (title) }
        @if must { p { (words.say("password-must")) } }
        @if let Some(problem) = problem {
            div.fault role="alert" { (layout::told(visit, problem)) }
        }
        form.narrow method="post" action="/password" {
            label for="old" { (words.say("password-old")) }
            input id="old" name="old" type="password" autocomplete="current-password" required
                maxlength="200";
            label for="new" { (words.say("password-new")) }
            input id="new" name="new" type="password" autocomplete="new-password" required
                minlength="10" maxlength="200" aria-describedby="new-hint";
            p.hint id="new-hint" { (words.say("password-hint")) }
            label for="again" { (words.say("password-again")) }
            input id="again" name="again" type="password" autocomplete="new-password" required
                minlength="10" maxlength="200";
            button type="submit" { (words.say("password-take")) }
        }
    };
    let mut page = layout::page(visit, &title, body);
    page.status = problem.map_or(200, |problem| problem.kind.row().http);
    page
}
