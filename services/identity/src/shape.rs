//! Between the contract's messages and this service's rows.
//! It never asks the database.

use domain::fault::Faults;
use domain::lot_code;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use platform::caller::{Call, Party, role, role_word};
use platform::error::Failure;
use platform::plant::Plant;
use platform::records::{NewVersion, Stamp};
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1::{self, Role};

use crate::store::people::PersonRow;
use crate::store::settings::SettingsRow;
use crate::store::stations::StationRow;

/// Who does something and when: what stamps each record that comes of it.
#[derive(Clone)]
pub struct Act {
    /// The person's id, or `system/identity`.
    pub by: String,
    /// The name as it is now.
    pub by_name: String,
    /// The station of the session; empty where none was named.
    pub station: String,
    /// When it was received.
    pub at: Timestamp,
    plant: Plant,
}

impl Act {
    /// What a signed-in caller does.
    pub fn of(call: &Call, plant: &Plant) -> Self {
        let (by_name, station) = match &call.party {
            Party::Person(person) => (person.name.clone(), person.station.clone()),
            _ => (call.entered_by(), String::new()),
        };
        let (at, plant) = (call.received_at, plant.clone());
        Self { by: call.entered_by(), by_name, station, at, plant }
    }

    /// What a person does who has just proved who they are.
    pub fn of_person(person: &PersonRow, station: &str, at: Timestamp, plant: &Plant) -> Self {
        let (by, by_name) = (person.id.to_string(), person.name.clone());
        Self { by, by_name, station: station.to_owned(), at, plant: plant.clone() }
    }

    /// What the service does by itself.
    pub fn of_system(at: Timestamp, plant: &Plant) -> Self {
        let by = format!("system/{}", crate::NAME);
        Self { by_name: by.clone(), by, station: String::new(), at, plant: plant.clone() }
    }

    /// The stamp of a record whose id the service makes, so that no call can repeat it.
    pub fn stamp(&self, id: Uuid, subject: String) -> Stamp {
        Stamp {
            id,
            subject,
            day: self.plant.day_of(self.at),
            recorded_at: self.at,
            entered_by: self.by.clone(),
            entered_by_name: self.by_name.clone(),
            station: self.station.clone(),
            fingerprint: Vec::new(),
        }
    }
}

/// What a version of a person says.
#[derive(Clone)]
pub struct PersonContent {
    pub sign_in_name: String,
    pub name: String,
    /// Role words in order.
    pub roles: Vec<String>,
    pub language: String,
    pub in_use: bool,
}

/// What a version of a station says.
#[derive(Clone)]
pub struct StationContent {
    pub name: String,
    pub place: String,
    pub in_use: bool,
}

/// What a version of the settings says.
#[derive(Clone)]
pub struct SettingsContent {
    pub establishment_name: String,
    pub establishment_number: String,
    pub zone: String,
    pub day_start: String,
    pub temperature_unit: String,
    pub mass_unit: String,
    pub lot_code_pattern: String,
}

/// The word of a role that must be there to administer.
pub fn administrator() -> &'static str {
    role_word(Role::Administrator)
}

/// Reads a person to add. The one-time password is no part of the version.
pub fn person_in(
    call: &Call,
    plant: &Plant,
    request: &v1::PutPersonRequest,
) -> Result<NewVersion<PersonContent>, Failure> {
    let mut faults = Faults::new();
    let mut roles: Vec<Role> = Vec::new();
    for (at, number) in request.roles.iter().enumerate() {
        match Role::try_from(*number) {
            Ok(Role::Unspecified) | Err(_) => {
                faults.add_value(format!("roles[{at}]"), number, "must be a role");
            }
            Ok(role) => roles.push(role),
        }
    }
    roles.sort_unstable();
    roles.dedup();
    if !request.one_time_password.is_empty() {
        crate::password::check_new(&request.one_time_password, "one_time_password", &mut faults);
    }
    let content = PersonContent {
        sign_in_name: request.sign_in_name.clone(),
        name: request.name.clone(),
        roles: roles.into_iter().map(|role| role_word(role).to_owned()).collect(),
        language: or_default(&request.language, "en"),
        in_use: request.in_use.unwrap_or(true),
    };
    let names = (("id", request.id.as_str()), ("person", request.person.as_str()));
    NewVersion::read((call, plant), names, (request, faults), content)
}

/// Reads a station to add.
pub fn station_in(
    call: &Call,
    plant: &Plant,
    request: &v1::PutStationRequest,
) -> Result<NewVersion<StationContent>, Failure> {
    let mut faults = Faults::new();
    let place = platform::shape::optional_id(&request.place, "place", &mut faults);
    let content = StationContent {
        name: request.name.clone(),
        place: place.map(|place| place.to_string()).unwrap_or_default(),
        in_use: request.in_use.unwrap_or(true),
    };
    let names = (("id", request.id.as_str()), ("station", request.station.as_str()));
    NewVersion::read((call, plant), names, (request, faults), content)
}

/// Reads settings to put in force, of the plant with this id.
pub fn settings_in(
    call: &Call,
    plant: &Plant,
    (request, plant_id): (&v1::PutPlantSettingsRequest, Uuid),
) -> Result<NewVersion<SettingsContent>, Failure> {
    let mut faults = Faults::new();
    if TimeZone::get(&request.zone).is_err() {
        let text = "must be an IANA time zone, as America/New_York";
        faults.add_value("zone", &request.zone, text);
    }
    let pattern = or_default(&request.lot_code_pattern, lot_code::DEFAULT);
    if let Err(unusable) = lot_code::Pattern::parse(&pattern) {
        faults.add_value("lot_code_pattern", &pattern, unusable.to_string());
    }
    let content = SettingsContent {
        establishment_name: request.establishment_name.clone(),
        establishment_number: request.establishment_number.clone(),
        zone: request.zone.clone(),
        day_start: or_default(&request.day_start, "00:00"),
        temperature_unit: or_default(&request.temperature_unit, "[degF]"),
        mass_unit: or_default(&request.mass_unit, "kg"),
        lot_code_pattern: pattern,
    };
    let id = plant_id.to_string();
    let names = (("id", request.id.as_str()), ("plant", id.as_str()));
    NewVersion::read((call, plant), names, (request, faults), content)
}

fn or_default(text: &str, default: &str) -> String {
    if text.is_empty() { default.to_owned() } else { text.to_owned() }
}

/// The entry of a person's version.
pub fn person_entry(row: &PersonRow) -> Value {
    json!({
        "person": row.id.to_string(), "version": row.version,
        "sign_in_name": row.sign_in_name, "name": row.name, "roles": row.roles,
        "language": row.language, "in_use": row.in_use,
    })
}

/// The entry of a station's version.
pub fn station_entry(row: &StationRow) -> Value {
    json!({
        "station_id": row.id.to_string(), "version": row.version,
        "name": row.name, "place": row.place, "in_use": row.in_use,
    })
}

/// The entry of a version of the settings.
pub fn settings_entry(row: &SettingsRow) -> Value {
    json!({
        "plant": row.id.to_string(), "version": row.version,
        "establishment_name": row.establishment_name,
        "establishment_number": row.establishment_number,
        "zone": row.zone, "day_start": row.day_start,
        "temperature_unit": row.temperature_unit, "mass_unit": row.mass_unit,
        "lot_code_pattern": row.lot_code_pattern,
    })
}

/// Role words as the contract's numbers.
pub fn roles_out(words: &[String]) -> Vec<i32> {
    words.iter().filter_map(|word| role(word)).map(i32::from).collect()
}

/// A person as a message.
pub fn person_out(row: PersonRow) -> v1::Person {
    v1::Person {
        person: row.id.to_string(),
        version: row.version,
        sign_in_name: row.sign_in_name,
        name: row.name,
        roles: roles_out(&row.roles),
        language: row.language,
        in_use: row.in_use,
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}

/// A station as a message.
pub fn station_out(row: StationRow) -> v1::Station {
    v1::Station {
        station: row.id.to_string(),
        version: row.version,
        name: row.name,
        place: row.place,
        in_use: row.in_use,
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}

/// The settings in force as a message: what stands until some are made has version 0.
pub fn settings_out(row: Option<SettingsRow>, is_simulated: bool) -> v1::PlantSettings {
    let Some(row) = row else {
        return v1::PlantSettings {
            zone: "UTC".into(),
            day_start: "00:00".into(),
            temperature_unit: "[degF]".into(),
            mass_unit: "kg".into(),
            lot_code_pattern: lot_code::DEFAULT.into(),
            is_simulated,
            ..Default::default()
        };
    };
    v1::PlantSettings {
        version: row.version,
        establishment_name: row.establishment_name,
        establishment_number: row.establishment_number,
        zone: row.zone,
        day_start: row.day_start,
        temperature_unit: row.temperature_unit,
        mass_unit: row.mass_unit,
        lot_code_pattern: row.lot_code_pattern,
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
        is_simulated,
    }
}
