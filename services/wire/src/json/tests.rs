//! What the JSON codec reads, refuses and writes, case by case.
//! It never looks inside the codec.

mod random;

use domain::fault::Fault;

use super::{Given, Names, place, read, write};
use crate::sample::{TABLE, shape};

/// The least that an `Everything` needs.
const LEAST: &str = r#""lotCode":"QL7","nextStage":"DRYING""#;

fn given<'a>(values: &[(&'a str, &'a str)]) -> Vec<Given<'a>> {
    values.iter().map(|(n, t)| Given { name: (*n).into(), text: (*t).into() }).collect()
}

fn try_read(body: &str, values: &[(&str, &str)]) -> Result<Vec<u8>, Vec<Fault>> {
    read::read(&TABLE, shape("Everything"), body.as_bytes(), &given(values)).map(|r| r.bytes)
}

/// Reads members beside the least ones and writes the whole again.
fn round(members: &str) -> String {
    let bytes = try_read(&format!("{{{LEAST},{members}}}"), &[]).unwrap();
    write::write(&TABLE, shape("Everything"), &bytes, Names::Camel).unwrap()
}

/// The faults of members beside the least ones, as `field: message (value)`.
fn faults(members: &str) -> Vec<String> {
    listed(try_read(&format!("{{{LEAST},{members}}}"), &[]).unwrap_err())
}

fn listed(faults: Vec<Fault>) -> Vec<String> {
    let line = |f: Fault| match f.value {
        Some(value) => format!("{}: {} ({value})", f.field, f.message),
        None => format!("{}: {}", f.field, f.message),
    };
    faults.into_iter().map(line).collect()
}

#[test]
fn decimals_keep_their_digits_as_number_and_as_text() {
    for digits in ["0.10", "1.35e-7", "-0", "12345678901234567890.12345678", "7E2"] {
        for typed in [digits.to_owned(), format!("\"{digits}\"")] {
            let text = round(&format!(r#""masses":[{typed}]"#));
            assert!(text.contains(&format!(r#""masses":[{digits}]"#)), "{text}");
        }
    }
}

#[test]
fn an_answer_is_printed_and_no_answer_is_left_out() {
    let bytes = try_read(&format!(r#"{{{LEAST},"held":false,"rackCount":null}}"#), &[]).unwrap();
    let text = write::write(&TABLE, shape("Everything"), &bytes, Names::Camel).unwrap();
    assert_eq!(
        text,
        r#"{"lotCode":"QL7","stage":"UNSPECIFIED","nextStage":"DRYING","pageSize":0,"#.to_owned()
            + r#""held":false,"open":false,"madeBy":"","passWord":"","photo":"","share":0.0}"#
    );
    let text = write::write(&TABLE, shape("Everything"), &bytes, Names::Proto).unwrap();
    assert!(text.starts_with(r#"{"lot_code":"QL7","stage":"UNSPECIFIED","next_stage":"DRYING""#));
}

#[test]
fn every_kind_reads_and_prints() {
    for members in [
        r#""curve":{"samples":[{"tS":0,"tempC":-40}],"probeName":"äöüßé"}"#,
        r#""stage":"SMOKING""#,
        r#""photo":"AAH/""#,
        r#""at":"2026-05-04T13:30:00.25Z""#,
        r#""at":"0001-01-01T00:00:00Z""#,
        r#""at":"1969-12-31T23:59:59.5Z""#,
        r#""free":{"a":[1.5,null,true,"x",{}],"b":-0.0}"#,
        r#""notes":{"k":{"deep":[[]]}}"#,
        r#""rows":[1.0,[],"\u0007"]"#,
        r#""counts":[0,5,2147483647]"#,
        r#""stages":["DRYING","SMOKING"]"#,
        r#""names":{"":"empty key","b.c":""}"#,
        r#""places":{"-3":{"tS":1}}"#,
        r#""square":{"tS":1}"#,
        r#""oval":0"#,
        r#""ratio":1e+300"#,
        r#""shift":-2147483648,"code":4294967295,"wide":-9223372036854775808"#,
        r#""count":18446744073709551615"#,
        r#""times":["2026-05-04T13:30:00Z"]"#,
        r#""longNumber":-1,"last":"""#,
    ] {
        let text = round(members);
        assert!(text.contains(members), "{members} in {text}");
    }
    assert!(round(r#""rackCount":5.0"#).contains(r#""rackCount":5,"#));
    assert!(round(r#""at":"2026-05-04T13:30:00+02:00""#).contains("T11:30:00Z"));
    assert!(round(r#""stage":"COOK_STAGE_DRYING""#).contains(r#""stage":"DRYING""#));
    assert!(round(r#""photo":"_-8""#).contains(r#""photo":"/+8=""#));
}

#[test]
fn every_fault_is_named_as_typed() {
    let found = listed(
        try_read(
            r#"{"curve":{"samples":[{"tS":"x"},{"temp_c":151},7,{"tS":1,"tempC":-40.0001}],
            "probeName":"too long"},"lot_code":"ql","next_stage":"WAITING","rackCount":1.5,
            "surprise":"s3cret","madeBy":"me","pass_word":"much too long","photo":"*","held":1,
            "at":"yesterday","counts":[1,-1,2,3],"tags":["four"],"stages":[2],
            "ratio":1e999,"casing":"goat","count":-1}"#,
            &[],
        )
        .unwrap_err(),
    );
    let time = "must be an RFC 3339 time, such as 2026-05-04T13:30:00Z";
    assert_eq!(
        found,
        [
            "curve.samples[0].tS: must be a decimal number of at most 28 digits (x)".to_owned(),
            "curve.samples[1].temp_c: must be at most 150.5 (151)".to_owned(),
            "curve.samples[1].t_s: must be given".to_owned(),
            "curve.samples[2]: must be an object (7)".to_owned(),
            "curve.samples[3].tempC: must be at least -40 (-40.0001)".to_owned(),
            "curve.probeName: must have at most 5 characters (too long)".to_owned(),
            "lot_code: must match [A-Z]{2}[0-9]+ (ql)".to_owned(),
            "next_stage: must be one of DRYING, SMOKING (WAITING)".to_owned(),
            "rackCount: must be a whole number from -2147483648 to 2147483647 (1.5)".to_owned(),
            "surprise: is not a field here".to_owned(),
            "madeBy: is set by the service and must be left out".to_owned(),
            "pass_word: must have at most 8 characters".to_owned(),
            "photo: must be base64 (*)".to_owned(),
            "held: must be true or false (1)".to_owned(),
            format!("at: {time} (yesterday)"),
            "counts[1]: must be at least 0 (-1)".to_owned(),
            "counts: must have at most 3 entries".to_owned(),
            "tags[0]: must have at most 3 characters (four)".to_owned(),
            "stages[0]: must be one of DRYING, SMOKING (2)".to_owned(),
            "ratio: must be a finite number (1e999)".to_owned(),
            "casing: must be one of hog, sheep (goat)".to_owned(),
            "count: must be a whole number from 0 to 18446744073709551615 (-1)".to_owned(),
        ]
    );
}

#[test]
fn missing_fields_are_named_and_wrong_ones_not_twice() {
    let missing = ["lotCode: must be given and not be empty", "nextStage: must be given"];
    assert_eq!(listed(try_read("{}", &[]).unwrap_err()), missing);
    assert_eq!(listed(try_read("", &[]).unwrap_err()), missing);
    let empty = r#"{"lotCode":"","nextStage":"UNSPECIFIED"}"#;
    assert_eq!(listed(try_read(empty, &[]).unwrap_err()), missing);
    let snake = r#"{"page_size":1}"#;
    assert_eq!(
        listed(try_read(snake, &[]).unwrap_err()),
        ["lot_code: must be given and not be empty", "next_stage: must be given"]
    );
    assert_eq!(faults(r#""curve":{}"#), ["curve.samples: must be given and not be empty"]);
    assert_eq!(faults(r#""curve":{"samples":{}}"#), ["curve.samples: must be a list"]);
}

#[test]
fn names_given_twice_are_refused() {
    assert_eq!(faults(r#""held":true,"held":true"#), ["held: is given twice"]);
    assert_eq!(faults(r#""pageSize":1,"page_size":1"#), ["page_size: is given twice"]);
    assert_eq!(faults(r#""names":{"a":"","a":""}"#), ["names.a: is given twice"]);
    assert_eq!(faults(r#""notes":{"a":1,"a":1}"#), ["notes.a: is given twice"]);
    assert_eq!(faults(r#""round":"","oval":1"#), ["oval: excludes round, which is given too"]);
}

#[test]
fn secret_values_are_never_shown() {
    assert_eq!(faults(r#""passWord":12"#), ["passWord: must be text"]);
    assert_eq!(
        faults(r#""hidden":{"tS":"pin","tempC":999}"#),
        [
            "hidden.tS: must be a decimal number of at most 28 digits",
            "hidden.tempC: must be at most 150.5"
        ]
    );
}

#[test]
fn text_that_is_no_json_is_one_fault() {
    for (body, fault) in [
        ("{\n \"held\" true}", ": is no JSON at line 2, column 9: expected a colon"),
        ("{\"tags\":[\"é\" x", ": is no JSON at line 1, column 14: "),
        ("{", ": is no JSON at line 1, column 2: the text ends too early"),
        ("{\"rackCount\":01}", ": is no JSON at line 1, column 16: "),
        ("{}{}", ": is no JSON at line 1, column 3: expected nothing after the object"),
        ("{\"casing\":\"\\ud800\"}", ": is no JSON at line 1, column 18: half"),
        ("[]", ": must be an object"),
    ] {
        let found = listed(try_read(body, &[]).unwrap_err());
        assert!(found.iter().any(|f| f.starts_with(fault)), "{body:?}: {found:?}");
    }
    let found = read::read(&TABLE, shape("Everything"), b"{\"a\":\"\xff\"}", &[]).unwrap_err();
    assert_eq!(listed(found), [": is no UTF-8 text at line 1, column 7"]);
}

#[test]
fn nesting_stops_at_its_limit() {
    let nested = |levels: usize| {
        format!("{{{LEAST},\"free\":{}{}}}", "[".repeat(levels), "]".repeat(levels))
    };
    let bytes = try_read(&nested(31), &[]).unwrap();
    let text = write::write(&TABLE, shape("Everything"), &bytes, Names::Camel).unwrap();
    assert!(text.contains(&"[".repeat(31)));
    let found = listed(try_read(&nested(32), &[]).unwrap_err());
    assert_eq!(found, [format!("free{}: nests deeper than 32 levels", "[0]".repeat(31))]);
    assert!(try_read(&"[".repeat(1_000_000), &[]).is_err());
    assert!(try_read(&"{\"inner\":".repeat(1_000_000), &[]).is_err());
}

#[test]
fn path_and_query_are_read_beside_the_body() {
    let values = [
        ("lotCode", "QL7"),
        ("next_stage", "SMOKING"),
        ("pageSize", "5"),
        ("held", "true"),
        ("tags", "a"),
        ("tags", "b"),
        ("curve.probeName", "P1"),
        ("hidden.tS", "1.50"),
        ("at", "2026-05-04T13:30:00Z"),
    ];
    let bytes = try_read(r#"{"curve":{"samples":[{"tS":1}]}}"#, &values).unwrap();
    let text = write::write(&TABLE, shape("Everything"), &bytes, Names::Camel).unwrap();
    for part in [
        r#""curve":{"samples":[{"tS":1}],"probeName":"P1"}"#,
        r#""nextStage":"SMOKING""#,
        r#""pageSize":5,"held":true"#,
        r#""tags":["a","b"]"#,
        r#""hidden":{"tS":1.50}"#,
    ] {
        assert!(text.contains(part), "{part} in {text}");
    }
    let wrong = [
        ("lotCode", "QL7"),
        ("nextStage", "x"),
        ("nothing", "1"),
        ("held", "1"),
        ("casing", "hog"),
        ("casing", "hog"),
        ("notes", "{}"),
        ("curve.samples", "1"),
    ];
    assert_eq!(
        listed(try_read(r#"{"lotCode":"QL8"}"#, &wrong).unwrap_err()),
        [
            "nothing: is not a field here",
            "lotCode: stands already in the path or the query",
            "nextStage: must be one of DRYING, SMOKING (x)",
            "held: must be true or false (1)",
            "casing: is given twice",
            "notes: cannot stand in the path or the query ({})",
            "curve.samples[0]: cannot stand in the path or the query (1)",
        ]
    );
}

#[test]
fn too_many_faults_are_counted() {
    let body = format!(r#"{{{LEAST},"tags":[{}1]}}"#, "1,".repeat(4_999));
    let found = listed(try_read(&body, &[]).unwrap_err());
    assert_eq!(found.len(), 1_001);
    assert_eq!(found[1_000], ": has 4000 more faults, which are not listed");
}

#[test]
fn later_faults_get_the_typed_names_and_values() {
    let body = r#"{"curve":{"samples":[{"tS":1},{"tS":2,"temp_c":"70"}]},"passWord":"pin",
        "names":{"a":"b"},"nextStage":null}"#;
    let fault =
        |field: &str| Fault { field: field.to_owned(), value: None, message: "wrong".to_owned() };
    let fields = [
        "curve.samples[1].temp_c",
        "curve.samples[1].t_s",
        "curve.samples[2].t_s",
        "curve.probe_name",
        "pass_word",
        "names.a",
        "lot_code",
        "next_stage",
        "page_size",
        "at.no_field[3]",
        "",
    ];
    let faults = fields.iter().map(|field| fault(field)).collect();
    let values = given(&[("lotCode", "QL7")]);
    let named = place::as_typed(&TABLE, shape("Everything"), (body.as_bytes(), &values), faults);
    assert_eq!(
        listed(named),
        [
            "curve.samples[1].temp_c: wrong (70)",
            "curve.samples[1].tS: wrong (2)",
            "curve.samples[2].t_s: wrong",
            "curve.probe_name: wrong",
            "passWord: wrong",
            "names.a: wrong (b)",
            "lotCode: wrong (QL7)",
            "nextStage: wrong",
            "page_size: wrong",
            "at.no_field[3]: wrong",
            ": wrong",
        ]
    );
}

#[test]
fn a_reply_without_a_decimal_number_is_not_written() {
    // Field 1 of Sample, the text "n/a".
    let error = write::write(&TABLE, shape("Sample"), b"\x0a\x03n/a", Names::Camel).unwrap_err();
    assert_eq!(error, write::WriteError::NotADecimal("t_s".to_owned()));
}
