//! What cannot be proved does not ship: messages lost, haccp away.
//! It never lets silence pass for consent.

use harness::Plant;

use super::race::dock;

#[tokio::test]
async fn nothing_ships_when_every_message_to_haccp_is_lost() {
    let plant = Plant::start().await;
    let dock = dock(&plant).await;
    let superuser = plant.database.connect().await;
    let lose = "CREATE FUNCTION genealogy.lose() RETURNS trigger LANGUAGE plpgsql AS \
        $$ BEGIN RETURN NULL; END $$; CREATE TRIGGER lose BEFORE INSERT ON genealogy.outbox \
        FOR EACH ROW EXECUTE FUNCTION genealogy.lose()";
    superuser.batch_execute(lose).await.expect("messages are lost from now on");
    let lot = dock.lot().await;
    let ready = dock.packed(lot).await;
    dock.review(&[lot]).await.expect(409);
    let refused = dock.ship(&[ready.pallet]).await.expect(409);
    assert!(refused.text.contains("plan"), "{}", refused.text);
    plant.stop().await;
}

#[tokio::test]
async fn nothing_ships_while_haccp_is_away_and_the_refusal_says_so() {
    let plant = Plant::start().await;
    let dock = dock(&plant).await;
    let ready = dock.ready().await;
    let superuser = plant.database.connect().await;
    let away = "REVOKE USAGE ON SCHEMA haccp FROM hankbook_haccp";
    superuser.batch_execute(away).await.expect("haccp is away");
    let refused = dock.ship(&[ready.pallet]).await;
    assert!(matches!(refused.status, 409 | 503), "{}", refused.text);
    assert!(refused.text.contains("haccp"), "{}", refused.text);
    let back = "GRANT USAGE ON SCHEMA haccp TO hankbook_haccp";
    superuser.batch_execute(back).await.expect("haccp is back");
    dock.ship(&[ready.pallet]).await.ok();
    plant.stop().await;
}
