//! Which files are taken, and the form of their entries.
//! It never asks the database.

use super::*;

const PNG: &[u8] = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR";

fn said(content_type: &str, data: &[u8]) -> Vec<String> {
    let sent =
        HttpBody { content_type: content_type.to_owned(), data: Bytes::copy_from_slice(data) };
    let mut faults = Faults::new();
    media_type(&sent, &mut faults);
    let faults = faults.into_vec().into_iter();
    faults.map(|fault| format!("{} {}", fault.field, fault.message)).collect()
}

#[test]
fn a_file_is_what_it_is_said_to_be() {
    for (content_type, data) in [
        ("image/jpeg", &b"\xff\xd8\xff\xe0\0\x10JFIF"[..]),
        ("image/png", PNG),
        ("application/pdf", b"%PDF-1.7\n"),
        ("Text/CSV; charset=utf-8", "t,°F\n0,38.6\n".as_bytes()),
    ] {
        assert_eq!(said(content_type, data), Vec::<String>::new(), "{content_type}");
    }
    for (content_type, data) in [
        ("image/jpeg", PNG),
        ("image/png", &b"\xff\xd8\xff\xe0"[..]),
        ("image/png", &PNG[..7]),
        ("application/pdf", b" %PDF-1.7"),
        ("text/csv", b"a,\xff"),
        ("text/csv", b"a,\0"),
    ] {
        let name = content_type;
        assert_eq!(said(name, data), [format!("file is not what it is said to be: {name}")]);
    }
    assert_eq!(said("text/csv", b""), ["file must not be empty"]);
    for other in ["", "text/html", "image/svg+xml", "image/jpegs"] {
        let wanted = "file must be one of image/jpeg, image/png, application/pdf, text/csv";
        assert_eq!(said(other, b"a"), [wanted], "{other}");
    }
}

#[test]
fn the_contract_names_the_media_types_that_are_taken() {
    let attach = wire::contract::operations().iter().find(|found| found.method == "AttachFile");
    let raw = attach.and_then(|found| found.raw()).expect("a raw body");
    let rules = wire::contract::field_rules(raw);
    assert_eq!(rules.media_types, MEDIA.map(|media| media.name));
}

#[test]
fn a_file_is_about_a_thing_of_a_known_kind() {
    let id = "01997000-0000-7000-8000-00000000000A";
    let about = |text: &str| about_in(text, &mut Faults::new());
    for kind in KINDS {
        assert_eq!(about(&format!("{kind}:{id}")), Some((kind, id.parse().expect("an id"))));
    }
    for wrong in ["", "lot", "lot:", "lot:1", &format!("plan:{id}"), &format!("lot:{id}x")] {
        assert_eq!(about(wrong), None, "{wrong}");
    }
}

#[test]
fn the_form_of_a_file_stands() {
    let lot = Uuid::from_u128(0x0199_7000_0000_7000_8000_0000_0000_0002);
    let stamp = Stamp {
        id: Uuid::from_u128(0x0199_7000_0000_7000_8000_0000_0000_0001),
        subject: format!("lot:{lot}"),
        day: "2026-11-25".parse().expect("a date"),
        recorded_at: "2026-11-25T06:10:02Z".parse().expect("an instant"),
        entered_by: "01997000-0000-7000-8000-000000000003".into(),
        entered_by_name: "Ines Tolland".into(),
        station: "Receiving".into(),
        fingerprint: Vec::new(),
    };
    let new = NewFile {
        about: ("lot", lot),
        name: "torn bag.csv".into(),
        media_type: "text/csv",
        // The message of one block: FIPS 180-2, appendix B.1.
        data: Bytes::from_static(b"abc"),
        stamp,
    };
    let (columns, entry) = new.record();
    let leaf = new.stamp.leaf("haccp.file/1", entry).expect("a leaf");
    let golden = include_str!("../../../../../tests/golden/haccp.file.1.json");
    assert_eq!(leaf.entry, golden.trim_end());
    assert_eq!(columns["lot"], lot.to_string());
}
