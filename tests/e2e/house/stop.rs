//! Stops: an orderly one under load loses nothing begun, and a killed one starts again.
//! What a client was told is what the database holds.

use std::net::TcpStream;

use harness::Plant;
use nix::sys::signal::Signal;
use platform::records::new_id;
use serde_json::json;
use std::time::Duration;

#[tokio::test]
async fn a_stop_under_load_keeps_every_acknowledged_write() {
    let mut plant = Plant::start().await;
    let manager = plant.with_roles(&["MANAGER"]);
    let mut writers = Vec::new();
    for _ in 0..8 {
        let manager = manager.clone();
        #[expect(clippy::disallowed_methods, reason = "a test has no tracker")]
        writers.push(tokio::spawn(async move {
            let (mut acknowledged, mut asked) = (Vec::new(), Vec::new());
            loop {
                let id = new_id();
                let body = json!({ "id": id.to_string(), "name": "House", "kind": "house" });
                asked.push(id);
                let request = manager.request(reqwest::Method::POST, "/v1/places").json(&body);
                match request.send().await {
                    Ok(response) if response.status() == 200 => acknowledged.push(id),
                    // A stopping door answers with a problem or closes the socket.
                    Ok(response) => assert_eq!(response.status(), 503),
                    Err(_) => return (acknowledged, asked),
                }
            }
        }));
    }
    tokio::time::sleep(Duration::from_millis(400)).await;
    plant.signal(Signal::SIGTERM);
    let code = plant.wait().await;
    assert_eq!(code, Some(0), "{}", plant.log());
    let database = plant.database.connect().await;
    let mut total = 0;
    for writer in writers {
        let (acknowledged, asked) = writer.await.expect("a writer");
        total += acknowledged.len();
        for id in &acknowledged {
            let query = "SELECT count(*) FROM genealogy.place p JOIN audit.leaf l \
                         ON l.id = p.record_id WHERE p.record_id = $1";
            let found: i64 = database.query_one(query, &[id]).await.expect("a count").get(0);
            assert_eq!(found, 1, "an acknowledged write is there with its leaf");
        }
        // The last one asked may have been committed without an answer; never half of it.
        let query = "SELECT (SELECT count(*) FROM genealogy.place WHERE record_id = ANY($1)) = \
                     (SELECT count(*) FROM audit.leaf WHERE id = ANY($1))";
        let whole: bool = database.query_one(query, &[&asked]).await.expect("a check").get(0);
        assert!(whole, "a row without its leaf, or a leaf without its row");
    }
    assert!(total > 0, "nothing was written before the stop");
    plant.database.remove().await;
}

#[tokio::test]
async fn a_killed_program_starts_again_with_all_that_it_acknowledged() {
    let mut plant = Plant::start().await;
    let manager = plant.with_roles(&["MANAGER"]);
    let id = new_id();
    let body = json!({ "id": id.to_string(), "name": "House 1", "kind": "house" });
    let first = manager.post("/v1/places", &body).await.ok();
    plant.kill();
    plant.start_again();
    let manager = harness::Client::new(&plant.http, manager.token().map(str::to_owned));
    assert_eq!(manager.post("/v1/places", &body).await.ok(), first);
    plant.stop().await;
}

#[tokio::test]
async fn clients_that_keep_their_connection_without_a_word_do_not_hold_up_a_stop() {
    let mut plant = Plant::start().await;
    let address = plant.grpc.trim_start_matches("http://").to_owned();
    let silent = TcpStream::connect(&address).expect("a connection");
    let rest = TcpStream::connect(plant.http.trim_start_matches("http://")).expect("another");
    // One that has called and stays.
    let channel = tonic::transport::Endpoint::from_shared(plant.grpc.clone()).expect("an address");
    let channel = channel.connect().await.expect("a channel");
    plant.signal(Signal::SIGTERM);
    assert_eq!(plant.wait().await, Some(0), "{}", plant.log());
    drop((silent, rest, channel));
    plant.database.remove().await;
}
