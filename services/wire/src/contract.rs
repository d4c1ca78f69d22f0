//! What the contract declares, read from its descriptors: operations, access, rules, comments.
//! It never repeats a declaration: everything here is derived from proto/.

mod docs;
#[cfg(test)]
mod tests;

use std::sync::LazyLock;

use prost_reflect::{
    DescriptorPool, DynamicMessage, FieldDescriptor, Kind, MessageDescriptor, MethodDescriptor,
    ReflectMessage, Value,
};

pub use crate::format::Malformed;
use crate::options;
pub use crate::options::{FieldRules, RAW};
use crate::shape;
use crate::v1;

pub use docs::comment;

/// The encoded descriptor set of the whole contract, with our options and all comments.
pub const DESCRIPTOR_SET: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/descriptors.bin"));
/// The same without what only services may see, for the outer reflection.
pub const PUBLIC_DESCRIPTOR_SET: &[u8] =
    include_bytes!(concat!(env!("OUT_DIR"), "/public_descriptors.bin"));

/// The most bytes of a raw body; whoever receives one refuses more.
pub const UPLOAD_MAX: usize = 10 * 1024 * 1024;

/// The package of services that only services may call, and its parts.
const INTERNAL_PACKAGE: &str = "hankbook.internal";

static POOL: LazyLock<DescriptorPool> = LazyLock::new(|| {
    // The build script has decoded these very bytes, so this cannot fail.
    DescriptorPool::decode(DESCRIPTOR_SET).unwrap_or_default()
});

static OPERATIONS: LazyLock<(Vec<Operation>, Vec<String>)> = LazyLock::new(|| read(pool()));

/// One method of the contract.
#[derive(Clone, Debug)]
pub struct Operation {
    /// Full name of its service: `hankbook.v1.Calculations`.
    pub service: String,
    /// Its own name: `Convert`.
    pub method: String,
    /// `/hankbook.v1.Calculations/Convert`.
    pub grpc_path: String,
    /// Its HTTP form; none for methods of the gRPC doors alone.
    pub http: Option<Http>,
    pub access: Access,
    /// A one-use signature ticket must come along.
    pub signature: bool,
    /// Some calls need a signature ticket.
    pub may_be_signed: bool,
    pub effect: v1::Effect,
    pub input: MessageDescriptor,
    pub output: MessageDescriptor,
    /// The reply is a stream.
    pub server_streaming: bool,
    /// The comment before the method.
    pub comment: String,
}

/// The HTTP form of a method.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Http {
    pub verb: Verb,
    /// Path template: `/v1/calculations/convert`, `/v1/lots/{id}`.
    pub template: String,
    /// The message is the JSON body, less what stands in the path.
    pub body: bool,
    /// The field that takes the body as it is; the other fields come from the path and the query.
    pub raw: Option<FieldDescriptor>,
}

/// The HTTP verbs in use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verb {
    Get,
    Put,
    Post,
    Delete,
}

impl Verb {
    /// As HTTP writes it.
    pub fn as_str(self) -> &'static str {
        match self {
            Verb::Get => "GET",
            Verb::Put => "PUT",
            Verb::Post => "POST",
            Verb::Delete => "DELETE",
        }
    }
}

/// Who may call.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Access {
    /// People and devices with one of these roles.
    Roles(Vec<v1::Role>),
    /// Anybody.
    Open,
    /// Services only.
    Internal,
    /// Every person who is signed in.
    SignedIn,
}

impl Operation {
    /// The field that takes the body as it is, where the body is not JSON.
    pub fn raw(&self) -> Option<&FieldDescriptor> {
        self.http.as_ref()?.raw.as_ref()
    }
}

/// All messages and services, with our options.
pub fn pool() -> &'static DescriptorPool {
    &POOL
}

/// Every method with a sound declaration, in order of declaration.
pub fn operations() -> &'static [Operation] {
    &OPERATIONS.0
}

/// Says everything that is wrong with the declarations; the program must not start with it.
pub fn check() -> Result<(), Vec<String>> {
    match OPERATIONS.1.as_slice() {
        [] => Ok(()),
        problems => Err(problems.to_vec()),
    }
}

/// The rules of a field, for documents; the build has checked that they make sense.
pub fn field_rules(field: &FieldDescriptor) -> FieldRules {
    options::rules_of(field).unwrap_or_default()
}

/// A message re-encoded in one fixed form without its secret fields, for fingerprints.
pub fn cleared(bytes: &[u8], message: &MessageDescriptor) -> Result<Vec<u8>, Malformed> {
    let shape = shape::CONTRACT.find(message.full_name()).ok_or(Malformed)?;
    crate::clear::cleared(&shape::CONTRACT, shape, bytes)
}

/// The operations of a pool, and what is wrong with it.
pub(crate) fn read(pool: &DescriptorPool) -> (Vec<Operation>, Vec<String>) {
    let mut operations = Vec::new();
    let mut problems = options::problems(pool);
    for service in pool.services() {
        for method in service.methods() {
            match operation(&method) {
                Ok(operation) => operations.push(operation),
                Err(problem) => problems.push(format!("{}: {problem}", method.full_name())),
            }
        }
    }
    let public = pool.all_messages().filter(|message| {
        let package = message.package_name();
        package.starts_with("hankbook.") && !is_internal(package)
    });
    for message in public {
        if let Some(field) = wide_number(&message) {
            let problem = "a public message must not hold 64-bit whole numbers";
            problems.push(format!("{}: {problem}", field.full_name()));
        }
    }
    (operations, problems)
}

/// A 64-bit whole number of the message, which JSON readers elsewhere would round.
fn wide_number(message: &MessageDescriptor) -> Option<FieldDescriptor> {
    message.fields().find(|field| {
        matches!(
            field.kind(),
            Kind::Int64 | Kind::Uint64 | Kind::Sint64 | Kind::Fixed64 | Kind::Sfixed64
        )
    })
}

fn is_internal(package: &str) -> bool {
    package == INTERNAL_PACKAGE || package.starts_with("hankbook.internal.")
}

fn operation(method: &MethodDescriptor) -> Result<Operation, String> {
    let options = method.options();
    let extension = |name: &str| {
        let extension = method.parent_pool().get_extension_by_name(name)?;
        options.has_extension(&extension).then(|| options.get_extension(&extension).into_owned())
    };
    let http = match extension("google.api.http") {
        Some(Value::Message(rule)) => Some(http(&rule, &method.input())?),
        _ => None,
    };
    let access = match extension("hankbook.v1.access") {
        Some(Value::Message(access)) => access_of(&access)?,
        _ => return Err("says not who may call it (option access)".to_owned()),
    };
    let service = method.parent_service();
    let internal = is_internal(service.package_name());
    if internal != (access == Access::Internal) {
        return Err("internal access and package hankbook.internal go together".to_owned());
    }
    if internal && http.is_some() {
        return Err("is internal and must have no HTTP form".to_owned());
    }
    if method.is_client_streaming() {
        return Err("takes a stream; batches are lists in one request".to_owned());
    }
    let flag = |name| extension(name).and_then(|value| value.as_bool()).unwrap_or(false);
    let effect = extension("hankbook.v1.effect").and_then(|value| value.as_enum_number());
    Ok(Operation {
        service: service.full_name().to_owned(),
        method: method.name().to_owned(),
        grpc_path: format!("/{}/{}", service.full_name(), method.name()),
        http,
        access,
        signature: flag("hankbook.v1.signature"),
        may_be_signed: flag("hankbook.v1.may_be_signed"),
        effect: v1::Effect::try_from(effect.unwrap_or(0)).map_err(|e| e.to_string())?,
        input: method.input(),
        output: method.output(),
        server_streaming: method.is_server_streaming(),
        comment: comment(&method.parent_file(), method.path()),
    })
}

fn http(rule: &DynamicMessage, input: &MessageDescriptor) -> Result<Http, String> {
    let text = |name: &str| {
        let field = rule.descriptor().get_field_by_name(name)?;
        let value = rule.get_field(&field).as_str().map(str::to_owned);
        value.filter(|text| !text.is_empty())
    };
    let verbs =
        [("get", Verb::Get), ("put", Verb::Put), ("post", Verb::Post), ("delete", Verb::Delete)];
    let mut forms = verbs.iter().filter_map(|(name, verb)| Some((*verb, text(name)?)));
    let (verb, template) = forms.next().ok_or("has an HTTP form without a verb")?;
    let (body, raw) = match text("body").as_deref() {
        None => (false, None),
        Some("*") => (true, None),
        Some(name) => (false, Some(raw(input, name, verb)?)),
    };
    for name in variables(&template) {
        if !names_field(input, name) {
            return Err(format!("has {{{name}}} in its path, which is no field of its request"));
        }
    }
    if body && verb == Verb::Get {
        return Err("is read by GET and can have no body".to_owned());
    }
    Ok(Http { verb, template, body, raw })
}

/// The field of this name, which must be able to take the body of a POST as it is.
fn raw(input: &MessageDescriptor, name: &str, verb: Verb) -> Result<FieldDescriptor, String> {
    let field = input.get_field_by_name(name).filter(options::is_raw);
    let field = field.ok_or_else(|| format!("has a body that is neither \"*\" nor a {RAW}"))?;
    match verb {
        Verb::Post => Ok(field),
        _ => Err("takes a raw body, which only POST does".to_owned()),
    }
}

/// The names between braces of a path template.
fn variables(template: &str) -> impl Iterator<Item = &str> {
    template.split('{').skip(1).map(|part| part.split(['}', '=']).next().unwrap_or_default())
}

/// True when a dotted proto name leads to a field.
fn names_field(message: &MessageDescriptor, name: &str) -> bool {
    let (first, rest) = match name.split_once('.') {
        Some((first, rest)) => (first, Some(rest)),
        None => (name, None),
    };
    let Some(field) = message.get_field_by_name(first) else { return false };
    match (rest, field.kind()) {
        (None, _) => true,
        (Some(rest), Kind::Message(inner)) => names_field(&inner, rest),
        (Some(_), _) => false,
    }
}

fn access_of(access: &DynamicMessage) -> Result<Access, String> {
    let value = |name: &str| {
        let field = access.descriptor().get_field_by_name(name)?;
        Some(access.get_field(&field).into_owned())
    };
    let truth = |name: &str| value(name).and_then(|value| value.as_bool()).unwrap_or(false);
    let listed = value("roles");
    let mut roles = Vec::new();
    for role in listed.as_ref().and_then(Value::as_list).unwrap_or_default() {
        let role = v1::Role::try_from(role.as_enum_number().unwrap_or(0));
        match role {
            Ok(v1::Role::Unspecified) | Err(_) => return Err("names no known role".to_owned()),
            Ok(role) => roles.push(role),
        }
    }
    let forms = [
        (!roles.is_empty()).then_some(Access::Roles(roles)),
        truth("open").then_some(Access::Open),
        truth("internal").then_some(Access::Internal),
        truth("signed_in").then_some(Access::SignedIn),
    ];
    let mut used = forms.into_iter().flatten();
    match (used.next(), used.next()) {
        (Some(access), None) => Ok(access),
        (None, _) => Err("has an empty access".to_owned()),
        _ => Err("has more than one form of access".to_owned()),
    }
}
