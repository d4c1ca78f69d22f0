//! Signatures: a password entered once more for one call.
//! It never signs what has no record, and keeps nothing: the record that uses a ticket does.

use domain::fault::Faults;
use platform::caller::{Call, operation};
use platform::error::{Failure, Kind};
use platform::records;
use platform::tickets::{self, Ticket};
use tonic::{Request, Response, Status};
use wire::contract::Access;
use wire::v1::{self, Effect};

use crate::{Identity, store};

/// Gives a ticket for one call.
pub async fn create(
    service: &Identity,
    request: Request<v1::CreateSignatureRequest>,
) -> Result<Response<v1::SignatureTicket>, Status> {
    let call = Call::of(request.extensions())?;
    let request = request.into_inner();
    check_method(&request.method)?;
    let signer = call.person()?;
    let row = service
        .db
        .read("identity.get_person", |conn| Box::pin(store::people::last(conn, signer.id)))
        .await?;
    let row = row.ok_or_else(|| Failure::not_found("person"))?;
    let proved = service.prove(&row.sign_in_name, request.password).await?;
    let refused = |text: &str| Failure::new(Kind::SignatureNeeded, text);
    let proved = proved.ok_or_else(|| refused("The password is wrong; nothing was signed."))?;
    if proved.credential.must_change {
        return Err(refused("Change your password first; then you can sign.").into());
    }
    let ticket = Ticket {
        id: records::new_id(),
        person: proved.person.id,
        name: proved.person.name,
        method: request.method,
        subject: request.subject,
        meaning: request.meaning,
        how: "password".to_owned(),
        signed_at: call.received_at,
    };
    let text = tickets::issue(&ticket, signer.session, &service.house.signer)?;
    Ok(Response::new(v1::SignatureTicket {
        ticket: text,
        ticket_id: ticket.id.to_string(),
        expires_in_s: tickets::LIFE_S as i32,
    }))
}

/// Only what leaves a record can be signed; whether it must be may depend on what it says.
fn check_method(method: &str) -> Result<(), Failure> {
    let mut faults = Faults::new();
    let found = operation(&format!("/{method}")).filter(|found| found.access != Access::Internal);
    let is_signed = found.is_some_and(|found| found.signature || found.effect == Effect::Record);
    if !is_signed {
        let text = "must be a method that records something, as hankbook.v1.Haccp/ApprovePlan";
        faults.add_value("method", method, text);
    }
    Ok(faults.into_result(Some(()))?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_leaves_a_record_is_signed() {
        assert!(check_method("hankbook.v1.Genealogy/PutPlace").is_ok());
        assert!(check_method("hankbook.v1.Genealogy/GetPlace").is_err());
        assert!(check_method("hankbook.internal.v1.IdentityInternal/Watch").is_err());
        assert!(check_method("hankbook.v1.Genealogy/Nothing").is_err());
    }
}
