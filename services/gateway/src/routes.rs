//! Which operation a verb and a path mean, as the contract's HTTP forms say.
//! It never knows what an operation does.

use std::collections::HashMap;

use matchit::Router;
use wire::contract::{Operation, Verb, operations};

/// The verbs of one path template.
type Verbs = HashMap<&'static str, &'static Operation>;

/// All routes.
pub struct Routes {
    router: Router<Verbs>,
}

/// What a verb and a path led to.
pub enum Found {
    /// An operation, with the values of its path, not yet percent-decoded.
    Operation(&'static Operation, Vec<(String, String)>),
    /// The path exists for these verbs only.
    OtherVerbs(String),
    /// No such path.
    Nothing,
}

impl Routes {
    /// The routes of the contract. Errors: two templates that cannot stand side by side.
    pub fn of_contract() -> Result<Self, String> {
        let mut templates: HashMap<&'static str, Verbs> = HashMap::new();
        for operation in operations() {
            if let Some(form) = &operation.http {
                let verbs = templates.entry(form.template.as_str()).or_default();
                if verbs.insert(form.verb.as_str(), operation).is_some() {
                    return Err(format!("{} {} stands twice", form.verb.as_str(), form.template));
                }
            }
        }
        let mut router = Router::new();
        for (template, verbs) in templates {
            let inserted = router.insert(template, verbs);
            inserted.map_err(|error| format!("{template}: {error}"))?;
        }
        Ok(Self { router })
    }

    /// The operation of a verb and a path.
    pub fn find(&self, verb: &str, path: &str) -> Found {
        let Ok(matched) = self.router.at(path) else { return Found::Nothing };
        match matched.value.get(verb) {
            Some(operation) => {
                let values = matched.params.iter();
                let values = values.map(|(name, value)| (name.to_owned(), value.to_owned()));
                Found::Operation(operation, values.collect())
            }
            None => {
                let mut allowed: Vec<_> = matched.value.keys().copied().collect();
                allowed.sort_unstable();
                Found::OtherVerbs(allowed.join(", "))
            }
        }
    }
}

/// True for a verb whose message comes from the path and the query alone.
pub fn has_no_body(verb: Verb) -> bool {
    matches!(verb, Verb::Get | Verb::Delete)
}
