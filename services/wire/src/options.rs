//! Reads what the field options of the contract ask, for the build script and for the checks.
//! It never judges a value: it only says what the rules are and whether they make sense.

use prost_reflect::{Cardinality, DescriptorPool, FieldDescriptor, Kind, Value};
use regex::Regex;
use rust_decimal::Decimal;

/// The most fields of one message, so that the fields seen fit one machine word pair.
pub const FIELDS_MAX: usize = 128;

/// What the contract asks of one field.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FieldRules {
    /// Must be given: a scalar not left out, text and lists not empty.
    pub required: bool,
    /// Set by the service: a caller who sends it is refused.
    pub output_only: bool,
    /// Never shown, logged or fingerprinted.
    pub secret: bool,
    /// Text that holds an exact decimal.
    pub decimal: bool,
    /// The most characters of a text, or bytes of a bytes field.
    pub max_len: Option<u32>,
    /// The most entries of a list or map.
    pub max_items: Option<u32>,
    /// A regular expression that the whole text matches.
    pub pattern: Option<String>,
    /// What such a text is, where a name says it better than the pattern.
    pub pattern_name: Option<&'static str>,
    /// The least value, itself allowed.
    pub min: Option<Decimal>,
    /// The greatest value, itself allowed.
    pub max: Option<Decimal>,
    /// The words that a text may be; empty: any.
    pub one_word_of: Vec<String>,
    /// The media types that a raw body may have.
    pub media_types: Vec<String>,
}

/// The message that is a raw body.
pub const RAW: &str = "google.api.HttpBody";
/// A UUID in its hyphenated form.
const UUID: &str = "[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}";
/// The same of version 7, variant of RFC 9562.
const RECORD_ID: &str =
    "[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-7[0-9a-fA-F]{3}-[89abAB][0-9a-fA-F]{3}-[0-9a-fA-F]{12}";

/// Everything wrong with the field options of every message, and with how messages are used.
pub fn problems(pool: &DescriptorPool) -> Vec<String> {
    let mut problems = Vec::new();
    for message in pool.all_messages() {
        if message.fields().len() > FIELDS_MAX {
            problems.push(format!("{}: more than {FIELDS_MAX} fields", message.full_name()));
        }
        for field in message.fields() {
            if let Err(problem) = rules_of(&field) {
                problems.push(format!("{}: {problem}", field.full_name()));
            }
        }
    }
    problems.extend(both_ways(pool));
    problems
}

/// Messages both asked and answered: requests are known by their type, so a reply of the same
/// type would be checked as one and might be refused.
fn both_ways(pool: &DescriptorPool) -> Vec<String> {
    let methods: Vec<_> = pool.services().flat_map(|s| s.methods().collect::<Vec<_>>()).collect();
    let mut names: Vec<_> = methods
        .iter()
        .map(|method| method.input())
        .filter(|input| !input.full_name().starts_with("google."))
        .filter(|input| methods.iter().any(|method| method.output() == *input))
        .map(|input| input.full_name().to_owned())
        .collect();
    names.sort();
    names.dedup();
    names
        .into_iter()
        .map(|name| format!("{name}: is both asked and answered; give the request its own message"))
        .collect()
}

/// The rules of a field, or why its options do not fit its type.
pub fn rules_of(field: &FieldDescriptor) -> Result<FieldRules, String> {
    let options = Options::of(field);
    let (id_pattern, pattern_name) = match (options.truth("record_id"), options.truth("uuid")) {
        (true, _) => (Some(RECORD_ID), Some("be a UUID of version 7, made by the caller")),
        (_, true) => (Some(UUID), Some("be a UUID, as 01997000-0000-7000-8000-000000000001")),
        _ => (None, None),
    };
    if id_pattern.is_some() && options.text("pattern").is_some() {
        return Err("an id has its own pattern".into());
    }
    let rules = FieldRules {
        required: options.truth("required"),
        output_only: options.truth("output_only"),
        secret: options.truth("secret"),
        decimal: options.truth("decimal"),
        max_len: options.number("max_len"),
        max_items: options.number("max_items"),
        pattern: id_pattern.map(str::to_owned).or_else(|| options.text("pattern")),
        pattern_name,
        min: options.limit("min")?,
        max: options.limit("max")?,
        one_word_of: options.words("one_word_of"),
        media_types: options.words("media_type"),
    };
    fits(field, &rules)?;
    Ok(rules)
}

/// The options of one field, by the short names of the contract.
struct Options {
    message: prost_reflect::DynamicMessage,
    pool: DescriptorPool,
}

impl Options {
    fn of(field: &FieldDescriptor) -> Self {
        Self { message: field.options(), pool: field.parent_pool().clone() }
    }

    /// The value of an option that is set.
    fn value(&self, name: &str) -> Option<Value> {
        let extension = self.pool.get_extension_by_name(&format!("hankbook.v1.{name}"))?;
        self.message
            .has_extension(&extension)
            .then(|| self.message.get_extension(&extension).into_owned())
    }

    fn truth(&self, name: &str) -> bool {
        self.value(name).and_then(|value| value.as_bool()).unwrap_or(false)
    }

    fn number(&self, name: &str) -> Option<u32> {
        self.value(name).and_then(|value| value.as_u32())
    }

    fn text(&self, name: &str) -> Option<String> {
        self.value(name).and_then(|value| value.as_str().map(str::to_owned))
    }

    fn words(&self, name: &str) -> Vec<String> {
        let value = self.value(name);
        let words = value.as_ref().and_then(Value::as_list).unwrap_or_default();
        words.iter().filter_map(|word| word.as_str().map(str::to_owned)).collect()
    }

    fn limit(&self, name: &str) -> Result<Option<Decimal>, String> {
        let Some(text) = self.text(name) else { return Ok(None) };
        Decimal::from_str_exact(&text)
            .map(Some)
            .map_err(|_| format!("{name} = {text:?} is no plain decimal number"))
    }
}

/// True for one field that is a raw body: `google.api.HttpBody`.
pub fn is_raw(field: &FieldDescriptor) -> bool {
    let is_one = field.cardinality() != Cardinality::Repeated;
    is_one && matches!(field.kind(), Kind::Message(held) if held.full_name() == RAW)
}

/// Refuses options that could not be kept on a field of this type.
fn fits(field: &FieldDescriptor, rules: &FieldRules) -> Result<(), String> {
    presence_fits(field, rules)?;
    let kind = field.kind();
    let text = kind == Kind::String && !field.is_map();
    let bytes = kind == Kind::Bytes && !field.is_map();
    let number = rules.decimal || (is_whole(&kind) && !field.is_map());
    let ordered = rules.min.zip(rules.max).is_none_or(|(min, max)| min <= max);
    let refusals = [
        (rules.decimal && !text, "decimal is for text"),
        (rules.max_len.is_some() && !text && !bytes, "max_len is for text and bytes"),
        (
            rules.max_items.is_some() && field.cardinality() != Cardinality::Repeated,
            "max_items is for lists and maps",
        ),
        (rules.pattern.is_some() && (!text || rules.decimal), "pattern is for text"),
        (!rules.one_word_of.is_empty() && (!text || rules.decimal), "one_word_of is for text"),
        (rules.min.is_some() && !number, "min is for decimals and whole numbers"),
        (rules.max.is_some() && !number, "max is for decimals and whole numbers"),
        (!ordered, "min is above max"),
        (!rules.media_types.is_empty() && !is_raw(field), "media_type is for google.api.HttpBody"),
    ];
    if let Some((_, problem)) = refusals.iter().find(|(wrong, _)| *wrong) {
        return Err((*problem).to_owned());
    }
    match rules.pattern.as_deref().map(whole_text) {
        Some(Err(problem)) => Err(format!("the pattern does not compile: {problem}")),
        _ => Ok(()),
    }
}

/// Refuses options that ask about presence where the wire does not tell it.
fn presence_fits(field: &FieldDescriptor, rules: &FieldRules) -> Result<(), String> {
    let one = field.cardinality() != Cardinality::Repeated;
    let plain = one && !field.supports_presence();
    let choice = field.containing_oneof().is_some_and(|oneof| !oneof.is_synthetic());
    let kind = field.kind();
    let tells_itself = matches!(kind, Kind::String | Kind::Bytes | Kind::Enum(_));
    let refusals = [
        (rules.required && rules.output_only, "required and output_only exclude each other"),
        (rules.required && choice, "required does not fit a member of a oneof"),
        (
            rules.required && plain && !tells_itself,
            "required needs `optional` here: a plain 0 or false cannot be told from none",
        ),
        (rules.decimal && plain, "decimal needs `optional` here: an empty text is no number"),
    ];
    match refusals.iter().find(|(wrong, _)| *wrong) {
        Some((_, problem)) => Err((*problem).to_owned()),
        None => Ok(()),
    }
}

fn is_whole(kind: &Kind) -> bool {
    !matches!(
        kind,
        Kind::Bool
            | Kind::Float
            | Kind::Double
            | Kind::String
            | Kind::Bytes
            | Kind::Enum(_)
            | Kind::Message(_)
    )
}

/// The pattern as a regular expression that only the whole text matches.
pub fn whole_text(pattern: &str) -> Result<Regex, regex::Error> {
    Regex::new(&format!(r"\A(?:{pattern})\z"))
}
