//! Who works at the plant, all invented.
//! It never holds a password that opens anything but a demo.

/// The password that everybody takes.
pub const PASSWORD: &str = "oak smoke at dawn";

/// Somebody who works there.
pub struct Person {
    /// The name to sign in with.
    pub sign_in: &'static str,
    /// The name as it stands in records.
    pub name: &'static str,
    /// The role.
    pub role: &'static str,
    /// en or es.
    pub language: &'static str,
    /// What they do, for the list that is printed.
    pub job: &'static str,
}

const fn person(
    sign_in: &'static str,
    name: &'static str,
    role: &'static str,
    job: &'static str,
) -> Person {
    Person { sign_in, name, role, language: "en", job }
}

/// Everybody but the administrator.
pub static PEOPLE: [Person; 10] = [
    person("dana", "Dana Okrent", "QA", "quality assurance: deviations, reviews, holds"),
    person("priya", "Priya Lunde", "QA", "quality assurance: approves plans"),
    person("marcus", "Marcus Vey", "SUPERVISOR", "cook supervisor"),
    person("ines", "Ines Tolland", "OPERATOR", "mixer"),
    Person {
        language: "es",
        ..person("rosa", "Rosa Quill", "OPERATOR", "packing lines; reads Spanish")
    },
    person("theo", "Theo Marsh", "OPERATOR", "receiving and spice room"),
    person("jo", "Jo Brandvold", "SUPERVISOR", "sanitation lead; thermometers"),
    person("lee", "Lee Castane", "DOCK", "dock"),
    person("walt", "Walt Harrow", "MANAGER", "manager"),
    person("nora", "Nora Pell", "INSPECTOR", "inspector: reads everything, changes nothing"),
];
