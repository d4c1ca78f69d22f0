//! Every message of the contract as a compact table, so that walking a message is fast.
//! It never holds values.

use std::collections::HashMap;
use std::sync::{LazyLock, OnceLock};

use prost_reflect::{DescriptorPool, EnumDescriptor, FieldDescriptor, MessageDescriptor};
use regex::Regex;

use crate::contract;
use crate::options::{self, FieldRules};

/// The table of the contract itself.
pub(crate) static CONTRACT: LazyLock<Table> = LazyLock::new(|| Table::of(contract::pool()));

/// All messages and enumerations of a descriptor pool; shapes point at each other by index.
pub(crate) struct Table {
    shapes: Vec<Shape>,
    enums: Vec<Words>,
    by_name: HashMap<String, usize>,
}

/// One message.
pub(crate) struct Shape {
    /// In the order of declaration.
    pub fields: Vec<Field>,
    pub known: Known,
    /// The members of each oneof, one bit a field.
    pub choices: Vec<u128>,
    by_name: HashMap<String, usize>,
    by_number: HashMap<u32, usize>,
}

/// Messages with a JSON form of their own.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Known {
    Ordinary,
    Timestamp,
    Struct,
    Value,
    List,
}

/// One field.
pub(crate) struct Field {
    pub number: u32,
    pub proto_name: String,
    pub camel_name: String,
    pub kind: Kind,
    pub many: Many,
    /// Which of the message's oneofs it belongs to.
    pub choice: Option<usize>,
    pub rules: FieldRules,
    pattern: OnceLock<Option<Regex>>,
}

/// How often a field may stand, and whether its absence can be told.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Many {
    /// Absent and default look the same.
    Plain,
    Optional,
    List {
        packed: bool,
    },
    Map,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Kind {
    Bool,
    Int32,
    Int64,
    Uint32,
    Uint64,
    Sint32,
    Sint64,
    Fixed32,
    Fixed64,
    Sfixed32,
    Sfixed64,
    Float,
    Double,
    Text,
    Bytes,
    Enum(usize),
    Message(usize),
}

/// The words of an enumeration, without the prefix of its type.
pub(crate) struct Words {
    words: Vec<Word>,
}

struct Word {
    number: i32,
    short: String,
    full: String,
}

impl Table {
    /// The table of every message in `pool`.
    pub fn of(pool: &DescriptorPool) -> Self {
        let messages: Vec<_> = pool.all_messages().collect();
        let enums: Vec<_> = pool.all_enums().collect();
        let names = messages.iter().map(|message| message.full_name().to_owned());
        let by_name: HashMap<_, _> = names.zip(0..).collect();
        let names = enums.iter().map(|words| words.full_name().to_owned());
        let enum_by_name: HashMap<_, _> = names.zip(0..).collect();
        let index = |names: &HashMap<String, usize>, name: &str| {
            names.get(name).copied().unwrap_or_default()
        };
        let kind = |field: &FieldDescriptor| match field.kind() {
            // Everything that a pool names is in the pool, so the index is always found.
            prost_reflect::Kind::Message(message) => {
                Kind::Message(index(&by_name, message.full_name()))
            }
            prost_reflect::Kind::Enum(words) => Kind::Enum(index(&enum_by_name, words.full_name())),
            other => scalar_kind(&other),
        };
        Self {
            shapes: messages.iter().map(|message| Shape::of(message, &kind)).collect(),
            enums: enums.iter().map(Words::of).collect(),
            by_name,
        }
    }

    /// The shape of a message by its full name.
    pub fn find(&self, full_name: &str) -> Option<&Shape> {
        self.by_name.get(full_name).map(|index| &self.shapes[*index])
    }

    pub fn shape(&self, index: usize) -> &Shape {
        &self.shapes[index]
    }

    pub fn words(&self, index: usize) -> &Words {
        &self.enums[index]
    }
}

fn scalar_kind(kind: &prost_reflect::Kind) -> Kind {
    use prost_reflect::Kind as From;
    match kind {
        From::Bool => Kind::Bool,
        From::Int32 => Kind::Int32,
        From::Int64 => Kind::Int64,
        From::Uint32 => Kind::Uint32,
        From::Uint64 => Kind::Uint64,
        From::Sint32 => Kind::Sint32,
        From::Sint64 => Kind::Sint64,
        From::Fixed32 => Kind::Fixed32,
        From::Fixed64 => Kind::Fixed64,
        From::Sfixed32 => Kind::Sfixed32,
        From::Sfixed64 => Kind::Sfixed64,
        From::Float => Kind::Float,
        From::Double => Kind::Double,
        From::String => Kind::Text,
        From::Bytes | From::Enum(_) | From::Message(_) => Kind::Bytes,
    }
}

impl Kind {
    /// The least and greatest value of a whole-number kind.
    pub fn range(self) -> Option<(i128, i128)> {
        match self {
            Kind::Int32 | Kind::Sint32 | Kind::Sfixed32 => Some((i32::MIN.into(), i32::MAX.into())),
            Kind::Uint32 | Kind::Fixed32 => Some((0, u32::MAX.into())),
            Kind::Int64 | Kind::Sint64 | Kind::Sfixed64 => Some((i64::MIN.into(), i64::MAX.into())),
            Kind::Uint64 | Kind::Fixed64 => Some((0, u64::MAX.into())),
            _ => None,
        }
    }
}

impl Shape {
    fn of(message: &MessageDescriptor, kind: &impl Fn(&FieldDescriptor) -> Kind) -> Self {
        let oneofs: Vec<_> = message.oneofs().filter(|oneof| !oneof.is_synthetic()).collect();
        let mut shape = Self {
            fields: Vec::new(),
            known: known(message.full_name()),
            choices: vec![0; oneofs.len()],
            by_name: HashMap::new(),
            by_number: HashMap::new(),
        };
        let mut fields: Vec<_> = message.fields().collect();
        // The last number of a field's path is its place in the declaration.
        fields.sort_by_key(|field| field.path().last().copied());
        // The build refuses a message with more fields than the bits of the masks.
        for (index, field) in fields.iter().take(options::FIELDS_MAX).enumerate() {
            let choice = oneofs.iter().position(|o| Some(o) == field.containing_oneof().as_ref());
            if let Some(choice) = choice {
                shape.choices[choice] |= 1 << index;
            }
            shape.by_name.insert(field.name().to_owned(), index);
            shape.by_name.insert(field.json_name().to_owned(), index);
            shape.by_number.insert(field.number(), index);
            shape.fields.push(Field::of(field, kind(field), choice));
        }
        shape
    }

    /// The index of a field by either spelling of its name.
    pub fn named(&self, name: &str) -> Option<usize> {
        self.by_name.get(name).copied()
    }

    /// The field of a number, as of a map's pairs: 1 the key, 2 the value.
    pub fn of_number(&self, number: u32) -> Option<&Field> {
        self.numbered(number).map(|index| &self.fields[index])
    }

    /// The index of a field by its number.
    pub fn numbered(&self, number: u32) -> Option<usize> {
        self.by_number.get(&number).copied()
    }
}

fn known(full_name: &str) -> Known {
    match full_name {
        "google.protobuf.Timestamp" => Known::Timestamp,
        "google.protobuf.Struct" => Known::Struct,
        "google.protobuf.Value" => Known::Value,
        "google.protobuf.ListValue" => Known::List,
        _ => Known::Ordinary,
    }
}

impl Field {
    fn of(field: &FieldDescriptor, kind: Kind, choice: Option<usize>) -> Self {
        let many = match field {
            field if field.is_map() => Many::Map,
            field if field.is_list() => Many::List { packed: field.is_packed() },
            field if field.supports_presence() => Many::Optional,
            _ => Many::Plain,
        };
        Self {
            number: field.number(),
            proto_name: field.name().to_owned(),
            camel_name: field.json_name().to_owned(),
            kind,
            many,
            choice,
            // The build has refused every contract in which this is an error.
            rules: options::rules_of(field).unwrap_or_default(),
            pattern: OnceLock::new(),
        }
    }

    /// True for lists and maps.
    pub fn is_many(&self) -> bool {
        matches!(self.many, Many::List { .. } | Many::Map)
    }

    /// True when the whole text matches the field's pattern, or there is none.
    pub fn matches(&self, text: &str) -> bool {
        let Some(pattern) = &self.rules.pattern else { return true };
        let regex = self.pattern.get_or_init(|| options::whole_text(pattern).ok());
        regex.as_ref().is_some_and(|regex| regex.is_match(text))
    }
}

impl Words {
    fn of(words: &EnumDescriptor) -> Self {
        let prefix = format!("{}_", upper_snake(words.name()));
        let all_have_it = words.values().all(|word| word.name().starts_with(&prefix));
        let cut = if all_have_it { prefix.len() } else { 0 };
        let words = words.values().map(|word| Word {
            number: word.number(),
            short: word.name()[cut..].to_owned(),
            full: word.name().to_owned(),
        });
        Self { words: words.collect() }
    }

    /// The number of a word, with or without its prefix.
    pub fn number(&self, word: &str) -> Option<i32> {
        self.words.iter().find(|w| w.short == word || w.full == word).map(|w| w.number)
    }

    /// The short word of a number.
    pub fn word(&self, number: i32) -> Option<&str> {
        self.words.iter().find(|w| w.number == number).map(|w| w.short.as_str())
    }

    /// The words that mean something, for a message.
    pub fn listed(&self) -> String {
        let words: Vec<_> =
            self.words.iter().filter(|w| w.number != 0).map(|w| w.short.as_str()).collect();
        words.join(", ")
    }
}

/// `CookStage` as `COOK_STAGE`.
fn upper_snake(name: &str) -> String {
    let mut snake = String::new();
    for (index, letter) in name.char_indices() {
        if index > 0 && letter.is_ascii_uppercase() {
            snake.push('_');
        }
        snake.push(letter.to_ascii_uppercase());
    }
    snake
}
