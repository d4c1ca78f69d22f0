//! Files about what was recorded: sent as they are, proved by their hash, taken away unchanged.
//! It never looks into the database but to bend what was kept.

use harness::client;
use platform::records::new_id;
use reqwest::Method;

use super::{Worked, text};

/// The most bytes of a file, as the contract says.
const MOST: usize = 10 * 1024 * 1024;

/// A photograph as far as its first bytes say, and every byte that there is.
fn photo() -> Vec<u8> {
    let every = (0..=255u8).cycle().take(600_000);
    b"\xff\xd8\xff\xe0".iter().copied().chain(every).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_is_kept_as_it_was_sent() {
    let worked = Worked::start().await;
    let client = &worked.worker.client;
    let (id, about) = (new_id().to_string(), format!("lot:{}", worked.stock.lots[0]));
    let photo = photo();
    let kept = client.attach(&id, &about, ("image/jpeg", &photo)).await.ok();
    assert_eq!((text(&kept, "file"), text(&kept, "about")), (id.as_str(), about.as_str()));
    assert_eq!((text(&kept, "name"), text(&kept, "mediaType")), ("torn bag", "image/jpeg"));
    assert_eq!(kept["bytes"].as_u64(), Some(photo.len() as u64));
    assert_eq!(text(&kept, "sha256").len(), 64);
    let again = client.attach(&id, &about, ("image/jpeg", &photo)).await.ok();
    assert_eq!(again, kept, "a repeated call is harmless");
    let other = client.attach(&id, &about, ("image/jpeg", &photo[..9])).await.expect(409);
    assert_eq!(other.problem(), "id-in-use");
    let reading = worked.read("37.5").await;
    let (table, of) = (new_id().to_string(), format!("reading:{reading}"));
    let csv = "t_s,°F\n0,38.6\n".as_bytes();
    client.attach(&table, &of, ("text/csv; charset=utf-8", csv)).await.ok();
    for (id, media_type, bytes) in [(&id, "image/jpeg", &photo[..]), (&table, "text/csv", csv)] {
        let path = format!("/v1/files/{id}/content");
        let response = client.request(Method::GET, &path).send().await.expect("an answer");
        assert_eq!(response.status().as_u16(), 200);
        assert_eq!(response.headers()["content-type"], media_type);
        assert_eq!(response.bytes().await.expect("the bytes"), bytes);
    }
    assert_eq!(client.get(&format!("/v1/files/{id}")).await.ok(), kept);
    let listed = client.get(&format!("/v1/files?about={about}")).await.ok();
    assert_eq!(listed["files"], serde_json::json!([kept]));
    // By a lot comes what is about it, and what is about its readings.
    let of_lot = format!("/v1/files?lot={}", worked.stock.lots[0]);
    let listed = client.get(&of_lot).await.ok();
    let files = listed["files"].as_array().expect("a list");
    let names: Vec<_> = files.iter().map(|file| text(file, "file")).collect();
    assert_eq!(names, [&id, &table]);
    let other = client.get(&format!("/v1/files?lot={}", worked.stock.lots[1])).await.ok();
    assert_eq!(other["files"].as_array().map_or(0, Vec::len), 0);
    for path in ["/v1/files".to_owned(), format!("{of_lot}&about={about}")] {
        assert_eq!(client.get(&path).await.expect(400).fields(), ["about"], "{path}");
    }
    client.get(&format!("/v1/files/{}", new_id())).await.expect(404);
    client.get(&format!("/v1/files/{}/content", new_id())).await.expect(404);
    worked.sealed().await;
    let bundle = String::from_utf8(worked.lot_bundle().await).expect("lines");
    assert!(bundle.contains(text(&kept, "sha256")), "the hash is under the signed tree");
    let bent = "SET session_replication_role = replica; UPDATE haccp.file_content \
        SET content = content || '\\x00'; SET session_replication_role = origin";
    worked.database.batch_execute(bent).await.expect("a bent file");
    client.get(&format!("/v1/files/{id}/content")).await.expect(500);
    worked.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_no_good_file_is_refused() {
    let worked = Worked::start().await;
    let client = &worked.worker.client;
    let about = format!("lot:{}", worked.stock.lots[0]);
    let id = new_id().to_string();
    for (media_type, bytes) in [
        ("text/html", &b"<p>"[..]),
        ("image/png", b"\xff\xd8\xff\xe0"),
        ("text/csv", b"a,\xff"),
        ("application/pdf", b""),
    ] {
        let refused = client.attach(&id, &about, (media_type, bytes)).await.expect(400);
        assert_eq!(refused.fields(), ["file"], "{media_type}: {}", refused.text);
    }
    let most = vec![b'a'; MOST];
    client.attach(&id, &about, ("text/csv", &most)).await.ok();
    let over = vec![b'a'; MOST + 1];
    let refused = client.attach(&id, &about, ("text/csv", &over)).await.expect(413);
    assert_eq!(refused.problem(), "too-large");
    for wrong in [format!("lot:{}", new_id()), "plan:1".to_owned()] {
        let file = ("text/csv", &b"a"[..]);
        let refused = client.attach(&new_id().to_string(), &wrong, file).await.expect(400);
        assert_eq!(refused.fields(), ["about"], "{wrong}");
    }
    let untyped = client.request(Method::POST, &format!("/v1/files?id={id}&about={about}&name=a"));
    client::answer(untyped.body("a")).await.expect(415);
    let inspector = worked.plant.with_roles(&["INSPECTOR"]);
    inspector.attach(&id, &about, ("text/csv", b"a")).await.expect(403);
    worked.stop().await;
}
