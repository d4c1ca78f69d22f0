//! What pages say, from one resource file a language.
//! It never holds a sentence itself; a test compares the files of both languages.

#[cfg(test)]
mod tests;

use std::sync::LazyLock;

use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource, FluentValue};
use unic_langid::LanguageIdentifier;

use super::asked::Asked;
use super::language::COOKIE;

const ENGLISH: &str = include_str!("../../words/en.ftl");
const SPANISH: &str = include_str!("../../words/es.ftl");

/// The languages of pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Language {
    English,
    Spanish,
}

/// All languages, in the order in which they are offered.
pub const LANGUAGES: [Language; 2] = [Language::English, Language::Spanish];

impl Language {
    /// Its tag (BCP 47).
    pub fn tag(self) -> &'static str {
        match self {
            Language::English => "en",
            Language::Spanish => "es",
        }
    }

    /// What it calls itself.
    pub fn name(self) -> &'static str {
        match self {
            Language::English => "English",
            Language::Spanish => "Español",
        }
    }

    /// The language of a tag.
    pub fn from_tag(tag: &str) -> Option<Self> {
        LANGUAGES.into_iter().find(|language| language.tag() == tag)
    }

    /// The language in which a browser is answered: as chosen on a page, as the person's own, as
    /// the browser asks.
    pub fn of(asked: &Asked, of_person: Option<&str>) -> Self {
        let chosen = asked.cookie(COOKIE).and_then(Self::from_tag);
        let own = || of_person.and_then(Self::from_tag);
        let wished = || {
            let wished = asked.header("accept-language").split(',');
            wished.filter_map(|part| Self::from_tag(part.trim().get(..2)?)).next()
        };
        chosen.or_else(own).or_else(wished).unwrap_or(Language::English)
    }
}

/// The words of one language.
pub struct Words {
    /// Which one.
    pub language: Language,
    bundle: FluentBundle<FluentResource>,
}

static ALL: LazyLock<[Words; 2]> = LazyLock::new(|| LANGUAGES.map(Words::read));

impl Words {
    /// The words of a language.
    pub fn of(language: Language) -> &'static Self {
        match language {
            Language::English => &ALL[0],
            Language::Spanish => &ALL[1],
        }
    }

    fn read(language: Language) -> Self {
        let text = match language {
            Language::English => ENGLISH,
            Language::Spanish => SPANISH,
        };
        let tag: LanguageIdentifier = language.tag().parse().unwrap_or_default();
        let mut bundle = FluentBundle::new_concurrent(vec![tag]);
        bundle.set_use_isolating(false);
        // A test reads both files: what cannot be read here does not pass it.
        let resource = FluentResource::try_new(text.to_owned());
        bundle.add_resource_overriding(resource.unwrap_or_else(|(partly, _)| partly));
        Self { language, bundle }
    }

    /// A message.
    pub fn say(&self, id: &str) -> String {
        self.with(id, [])
    }

    /// A message with values in it.
    pub fn with<const N: usize>(&self, id: &str, values: [(&str, FluentValue<'_>); N]) -> String {
        // A message that is missing shows its id: a test finds it before a reader does.
        self.known(id, values).unwrap_or_else(|| id.to_owned())
    }

    /// The message of a word of the contract, as `lot-kind` and `finished`; the word itself where
    /// there is none.
    pub fn one_of(&self, kind: &str, word: &str) -> String {
        let id = format!("{kind}-{}", word.replace('_', "-").to_lowercase());
        self.known(&id, []).unwrap_or_else(|| word.to_owned())
    }

    fn known<const N: usize>(
        &self,
        id: &str,
        values: [(&str, FluentValue<'_>); N],
    ) -> Option<String> {
        let pattern = self.bundle.get_message(id)?.value()?;
        let mut args = FluentArgs::new();
        for (name, value) in values {
            args.set(name.to_owned(), value);
        }
        let mut errors = Vec::new();
        Some(self.bundle.format_pattern(pattern, Some(&args), &mut errors).into_owned())
    }
}
