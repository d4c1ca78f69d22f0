//! The page at which people sign in, and the way out again.
//! It never says whether a name exists, and never shows a password back.

use std::sync::Arc;

use maud::{Markup, html};
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
use platform::error::Kind;
use wire::v1;

use super::answer::{Answer, own_path};
use super::asked::{Asked, Verb};
use super::session::{self, Session};
use super::visit::Visit;
use super::{Pages, layout, methods};
use crate::problem::Problem;

/// Leads somebody to the sign-in page, and from there back to what was asked.
pub fn lead_there(asked: &Asked) -> Answer {
    let back = asked.way_back();
    if back == "/" || asked.verb == Verb::Post {
        return Answer::see("/sign-in");
    }
    Answer::see(&format!("/sign-in?back={}", utf8_percent_encode(&back, NON_ALPHANUMERIC)))
}

/// Shows the page, or opens a session.
pub async fn answer(pages: &Arc<Pages>, asked: &Asked) -> Answer {
    let visit = Visit::of(pages.clone(), asked, None);
    match asked.verb {
        Verb::Get => show(&visit, asked.query.get("back"), None),
        Verb::Post => open(&visit).await,
    }
}

async fn open(visit: &Visit) -> Answer {
    let (form, back) = (&visit.asked.form, own_path(visit.asked.form.get("back")));
    let question = v1::SignInRequest {
        sign_in_name: form.get("name").to_owned(),
        password: form.raw("password").to_owned(),
        ..Default::default()
    };
    let answer = match visit.ask(methods::SIGN_IN, question).await {
        Ok(answer) => answer,
        Err(problem) => return show(visit, back, Some(&problem)),
    };
    let session = Session::of(answer, &visit.pages.gateway.keeper.clock);
    let to = if session.must_change_password { "/password" } else { back };
    match visit.pages.sealer.cookie(&session) {
        Some(cookie) => Answer::see(to).with_cookie(cookie),
        None => layout::problem(visit, &Problem::new(Kind::Internal, "")),
    }
}

fn show(visit: &Visit, back: &str, problem: Option<&Problem>) -> Answer {
    let words = visit.words;
    let title = words.say("sign-in");
    let mut page = layout::page(visit, &title, form(visit, back, problem));
    page.status = problem.map_or(200, |problem| problem.kind.row().http);
    page
}

fn form(visit: &Visit, back: &str, problem: Option<&Problem>) -> Markup {
    let words = visit.words;
    html! {
        h1 { (words.say("sign-in")) }
        @if let Some(problem) = problem {
            div.fault role="alert" {
                p { (match problem.kind {
                    Kind::NotSignedIn | Kind::BadInput => words.say("sign-in-wrong"),
                    kind => words.one_of("problem", kind.row().reason),
                }) }
            }
        }
        form.narrow method="post" action="/sign-in" {
            input type="hidden" name="back" value=(back);
            label for="name" { (words.say("sign-in-name")) }
            input id="name" name="name" autocomplete="username" autocapitalize="none"
                spellcheck="false" required maxlength="40" value=(visit.asked.form.get("name"));
            label for="password" { (words.say("password")) }
            input id="password" name="password" type="password" autocomplete="current-password"
                required maxlength="200";
            button type="submit" { (words.say("sign-in")) }
        }
    }
}

/// Ends the session, here and everywhere.
pub async fn out(visit: &Visit) -> Result<Answer, Problem> {
    visit.ask(methods::SIGN_OUT, v1::SignOutRequest {}).await?;
    if let Some(session) = &visit.session {
        visit.pages.refresher.forget(&session.id).await;
    }
    Ok(Answer::see("/sign-in").with_cookie(session::emptied()))
}
