//! Walks the contract: every operation is refused without its role, at both doors.
//! A new operation is covered the day it appears.

use harness::{Plant, client};
use reqwest::Method;
use tonic::Code;
use wire::contract::{Access, Operation, operations};

use super::rpc::call;

fn rest_path(operation: &Operation) -> Option<(Method, String)> {
    let form = operation.http.as_ref()?;
    let method = Method::from_bytes(form.verb.as_str().as_bytes()).expect("a verb");
    let id = "01997000-0000-7000-8000-000000000001";
    let mut path = form.template.clone();
    while let (Some(from), Some(to)) = (path.find('{'), path.find('}')) {
        path.replace_range(from..=to, id);
    }
    Some((method, path))
}

/// A role that the operation does not take, if there is one.
fn wrong_role(operation: &Operation) -> Option<&'static str> {
    let Access::Roles(roles) = &operation.access else { return None };
    let all = ["DEVICE", "OPERATOR", "INSPECTOR", "DEVELOPER", "MANAGER", "QA"];
    all.into_iter()
        .find(|word| roles.iter().all(|role| role.as_str_name() != format!("ROLE_{word}")))
}

#[tokio::test]
async fn every_operation_is_refused_to_who_may_not_call_it() {
    let plant = Plant::start().await;
    let anybody = plant.anybody();
    let mut tried = 0;
    for operation in operations() {
        let Some((method, path)) = rest_path(operation) else { continue };
        if operation.access == Access::Open {
            continue;
        }
        let refused = client::answer(anybody.request(method.clone(), &path)).await;
        assert_eq!(refused.status, 401, "{}: {}", operation.grpc_path, refused.text);
        assert_eq!(refused.problem(), "not-signed-in", "{}", operation.grpc_path);
        if let Some(role) = wrong_role(operation) {
            let other = plant.with_roles(&[role]);
            let refused = client::answer(other.request(method, &path)).await;
            assert_eq!(refused.status, 403, "{} as {role}", operation.grpc_path);
        }
        tried += 1;
    }
    assert!(tried >= 8, "only {tried} operations need a caller");
    plant.stop().await;
}

#[tokio::test]
async fn the_grpc_door_refuses_the_same() {
    let plant = Plant::start().await;
    for operation in operations() {
        let answered = call(&plant.grpc, &operation.grpc_path, None, b"").await;
        let code = answered.err().map_or(Code::Ok, |status| status.code());
        match operation.access {
            // Anybody may call; an empty message is an answer or a list of its faults.
            Access::Open => {
                let heard = [Code::Ok, Code::InvalidArgument];
                assert!(heard.contains(&code), "{}: {code:?}", operation.grpc_path);
            }
            Access::Internal => assert_eq!(code, Code::Unimplemented, "{}", operation.grpc_path),
            _ => assert_eq!(code, Code::Unauthenticated, "{}", operation.grpc_path),
        }
    }
    plant.stop().await;
}
