//! The plant's settings, and the step of a simulated clock.
//! It never moves a real clock, nor a simulated one backwards.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Kind};
use tonic::{Request, Response, Status};
use wire::v1;

use crate::{Identity, shape, store};

/// Puts settings in force.
pub async fn put(
    service: &Identity,
    request: Request<v1::PutPlantSettingsRequest>,
) -> Result<Response<v1::PlantSettings>, Status> {
    let call = Call::of(request.extensions())?;
    let plant = service
        .db
        .read("identity.get_plant", |conn| Box::pin(store::settings::plant(conn)))
        .await?;
    let of = (request.get_ref(), plant);
    let new = Arc::new(shape::settings_in(&call, &service.house.plant, of)?);
    let row = service
        .db
        .write("identity.put_plant_settings", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::settings::record(conn, &new).await })
        })
        .await?;
    service.changed.notify_waiters();
    let is_simulated = service.house.clock.is_simulated();
    Ok(Response::new(shape::settings_out(Some(row), is_simulated)))
}

/// The settings in force.
pub async fn get(service: &Identity) -> Result<Response<v1::PlantSettings>, Status> {
    let row = service
        .db
        .read("identity.get_plant_settings", |conn| Box::pin(store::settings::last(conn)))
        .await?;
    let is_simulated = service.house.clock.is_simulated();
    Ok(Response::new(shape::settings_out(row, is_simulated)))
}

/// Moves a simulated clock forwards.
pub fn move_clock(
    service: &Identity,
    request: Request<v1::MoveClockRequest>,
) -> Result<Response<v1::MoveClockResponse>, Status> {
    let clock = &service.house.clock;
    if !clock.is_simulated() {
        let text = "There is no such operation: this plant's clock is real.";
        return Err(Failure::new(Kind::NoSuchOperation, text).into());
    }
    let text = &request.get_ref().to;
    let mut faults = Faults::new();
    let to = platform::shape::instant(text, "to", &mut faults);
    let to = faults.into_result(to).map_err(Failure::from)?;
    let now = clock.now();
    clock.move_to(to).map_err(|_| {
        Failure::fault("to", text, format!("must not be before the clock's time, {now}"))
    })?;
    service.changed.notify_waiters();
    Ok(Response::new(v1::MoveClockResponse { now: clock.now().to_string() }))
}
