//! A person of the plant: what they are called, what they may do, how they first sign in.
//! It never shows a password, and changes nobody but for an administrator.

use maud::{Markup, html};
use platform::caller::role_word;
use platform::error::Kind;
use wire::v1;

use crate::pages::answer::Answer;
use crate::pages::asked::Verb;
use crate::pages::visit::{Visit, is_signed_out};
use crate::pages::words::LANGUAGES;
use crate::pages::{forms, layout, methods, shown};
use crate::problem::Problem;

/// The path of a person who is not there yet.
const NEW: &str = "new";
/// What people may do; a device is no person.
const ROLES: [v1::Role; 10] = [
    v1::Role::Operator,
    v1::Role::Supervisor,
    v1::Role::Qa,
    v1::Role::Manager,
    v1::Role::Developer,
    v1::Role::Sanitation,
    v1::Role::Maintenance,
    v1::Role::Dock,
    v1::Role::Inspector,
    v1::Role::Administrator,
];

/// Whether somebody may add and change people.
pub fn may(visit: &Visit) -> bool {
    visit.holds(&[v1::Role::Administrator])
}

/// Shows a person, or the form of a new one; records what the form says.
pub async fn answer(visit: &Visit, id: &str) -> Result<Answer, Problem> {
    let known = match id {
        NEW => None,
        id => {
            let question = v1::GetPersonRequest { person: id.to_owned() };
            Some(visit.ask(methods::GET_PERSON, question).await?)
        }
    };
    if visit.asked.verb == Verb::Get {
        return Ok(page(visit, known.as_ref(), None));
    }
    match visit.ask(methods::PUT_PERSON, question(visit, known.as_ref())).await {
        Ok(_) => Ok(Answer::see("/people")),
        Err(problem) if problem.kind == Kind::IdInUse => Ok(Answer::see("/people")),
        Err(problem) if is_signed_out(&problem) => Err(problem),
        Err(problem) => Ok(page(visit, known.as_ref(), Some(&problem))),
    }
}

fn question(visit: &Visit, known: Option<&v1::Person>) -> v1::PutPersonRequest {
    let form = &visit.asked.form;
    let roles = form.all("role");
    let is_chosen = |role: &v1::Role| roles.iter().any(|word| word == role_word(*role));
    v1::PutPersonRequest {
        id: forms::record_id(visit),
        person: known.map_or_else(String::new, |person| person.person.clone()),
        sign_in_name: form.get("sign-in-name").to_owned(),
        name: form.get("name").to_owned(),
        roles: ROLES.into_iter().filter(is_chosen).map(i32::from).collect(),
        language: form.get("language").to_owned(),
        in_use: Some(known.is_none() || !form.get("in-use").is_empty()),
        one_time_password: form.raw("one-time-password").to_owned(),
    }
}

fn page(visit: &Visit, known: Option<&v1::Person>, problem: Option<&Problem>) -> Answer {
    let words = visit.words;
    let title = known.map_or_else(|| words.say("new-person"), |person| person.name.clone());
    let body = html! {
        h1 { (title) }
        @if let Some(person) = known { (stands(visit, person)) }
        @if may(visit) {
            (forms::alert(visit, problem))
            (form(visit, known))
        } @else { p { (words.say("only-administrators")) } }
        p.ways { a.button href="/people" { (words.say("people")) } }
    };
    let mut page = layout::page(visit, &title, body);
    page.status = problem.map_or(200, |problem| problem.kind.row().http);
    page
}

/// As the person stands now, and who said so.
fn stands(visit: &Visit, person: &v1::Person) -> Markup {
    let words = visit.words;
    html! {
        p { (roles(visit, person)) " · "
            @if person.in_use { (words.say("in-use")) } @else { (words.say("not-in-use")) } }
        p.who { (words.with("plan-version", [("version", person.version.into())])) " · "
            (shown::instant(visit, &person.recorded_at)) " · " (person.entered_by_name) }
    }
}

/// What somebody may do, in words.
pub fn roles(visit: &Visit, person: &v1::Person) -> String {
    let words = person.roles().map(|role| visit.words.one_of("role", role_word(role)));
    match words.collect::<Vec<_>>().join(", ") {
        none if none.is_empty() => visit.words.say("reads-only"),
        roles => roles,
    }
}

fn form(visit: &Visit, known: Option<&v1::Person>) -> Markup {
    let (words, form) = (visit.words, &visit.asked.form);
    // What was typed comes back; before that, what stands.
    let is_typed = visit.asked.verb == Verb::Post;
    let value = |name: &str, stands: &str| match is_typed {
        true => form.raw(name).to_owned(),
        false => stands.to_owned(),
    };
    let stands = known.cloned().unwrap_or_default();
    let typed = form.all("role");
    let has = |role: v1::Role| match is_typed {
        true => typed.iter().any(|word| word == role_word(role)),
        false => stands.roles().any(|one| one == role),
    };
    let language = match value("language", &stands.language) {
        none if none.is_empty() => LANGUAGES[0].tag().to_owned(),
        language => language,
    };
    let is_in_use = if is_typed { !form.get("in-use").is_empty() } else { stands.in_use };
    html! {
        form.wide method="post" action={ "/people/" (known.map_or(NEW, |one| &one.person)) } {
            input type="hidden" name="id" value=(forms::record_id(visit));
            label for="name" { (words.say("name-in-records")) }
            input id="name" name="name" required maxlength="80" autocomplete="off"
                value=(value("name", &stands.name));
            label for="sign-in-name" { (words.say("sign-in-name-of")) }
            input id="sign-in-name" name="sign-in-name" required maxlength="40" autocomplete="off"
                autocapitalize="none" pattern="[a-z0-9][a-z0-9._\\-]*"
                aria-describedby="sign-in-name-hint"
                value=(value("sign-in-name", &stands.sign_in_name));
            p.hint id="sign-in-name-hint" { (words.say("sign-in-name-hint")) }
            (role_choice(visit, has))
            (language_choice(visit, &language))
            label for="one-time-password" { (words.say("one-time-password")) }
            input id="one-time-password" name="one-time-password" type="password" maxlength="200"
                minlength="10" autocomplete="new-password" aria-describedby="one-time-hint"
                required[known.is_none()];
            p.hint id="one-time-hint" {
                @if known.is_none() { (words.say("one-time-hint")) }
                @else { (words.say("one-time-hint-again")) }
            }
            @if known.is_some() {
                label.choice {
                    input type="checkbox" name="in-use" value="yes" checked[is_in_use];
                    (words.say("may-sign-in"))
                }
            }
            button type="submit" {
                @if known.is_none() { (words.say("add-person")) }
                @else { (words.say("change-person")) }
            }
        }
    }
}

fn role_choice(visit: &Visit, has: impl Fn(v1::Role) -> bool) -> Markup {
    let words = visit.words;
    html! {
        fieldset {
            legend { (words.say("roles")) }
            @for role in ROLES {
                label.choice {
                    input type="checkbox" name="role" value=(role_word(role)) checked[has(role)];
                    (words.one_of("role", role_word(role)))
                }
            }
        }
    }
}

fn language_choice(visit: &Visit, chosen: &str) -> Markup {
    html! {
        fieldset {
            legend { (visit.words.say("language")) }
            @for one in LANGUAGES {
                label.choice {
                    input type="radio" name="language" value=(one.tag()) required
                        checked[chosen == one.tag()];
                    span lang=(one.tag()) { (one.name()) }
                }
            }
        }
    }
}
