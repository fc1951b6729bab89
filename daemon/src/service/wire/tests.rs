use super::topics::CHANNELS;
use super::*;

const DEPLOY: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy");

/// The interface description must list exactly the channels there are. It is
/// read by line, because one key in a file is no reason for a YAML parser.
#[test]
fn the_interface_description_lists_every_channel() {
    let text = std::fs::read_to_string(format!("{DEPLOY}/asyncapi.yaml")).expect("the file");
    let mut described: Vec<&str> = text
        .lines()
        .filter_map(|line| line.trim().strip_prefix("address: '{prefix}/"))
        .map(|address| address.trim_end_matches('\''))
        .collect();
    let mut channels: Vec<&str> = CHANNELS.iter().map(|channel| channel.address).collect();
    described.sort_unstable();
    channels.sort_unstable();
    assert_eq!(described, channels);
    for channel in CHANNELS {
        let payload = format!("$ref: './schemas/{}.json'", channel.document);
        assert!(text.contains(&payload), "{payload} is missing");
        let mut words = channel.document.split('-');
        let first = words.next().unwrap_or_default().to_owned();
        let name = words.fold(first, |name, word| name + &word[..1].to_uppercase() + &word[1..]);
        let reference = format!("\n    channel: {{ $ref: '#/channels/{name}' }}\n");
        let (before, after) = text.split_once(&reference).expect("an operation");
        let action = if channel.sent { "action: send" } else { "action: receive" };
        assert!(before.ends_with(action), "{name}");
        let rest: Vec<&str> = after.lines().take_while(|line| line.starts_with("    ")).collect();
        let retained = rest.iter().find_map(|line| line.trim().strip_prefix("retain: "));
        assert_eq!(retained.is_some_and(|text| text == "true"), channel.retained, "{name}");
    }
}

/// The schemas beside the interface description are those of the code. After a
/// change set `STOWHEAT_WRITE_SCHEMAS=1` to write them anew.
#[test]
fn the_schemas_in_the_repository_are_current() {
    for (name, schema) in schemas() {
        let path = format!("{DEPLOY}/schemas/{name}.json");
        let text = serde_json::to_string_pretty(&schema).expect("a schema is JSON") + "\n";
        if std::env::var_os("STOWHEAT_WRITE_SCHEMAS").is_some() {
            std::fs::write(&path, &text).expect("the folder is writable");
        }
        let kept = std::fs::read_to_string(&path).unwrap_or_default();
        assert_eq!(kept, text, "{path} is out of date");
    }
}

#[test]
fn a_command_with_an_unknown_field_is_refused() {
    let command = |action: &str| {
        let text = format!(r#"{{"schema":"stowheat/command/1","id":"1","action":{action}}}"#);
        serde_json::from_str::<Command>(&text)
    };
    assert!(command(r#"{"kind":"boost","store":"cylinder","minutes":60}"#).is_ok());
    assert!(command(r#"{"kind":"replan"}"#).is_ok());
    assert!(command(r#"{"kind":"boost","store":"cylinder","minute":60}"#).is_err());
    assert!(command(r#"{"kind":"boost","store":"cylinder","minutes":-1}"#).is_err());
    assert!(command(r#"{"kind":"explode"}"#).is_err());
}

#[test]
fn an_instant_is_read_with_any_offset_and_written_in_utc() {
    let stamp: Stamp = serde_json::from_str("\"2026-10-25T01:30:00+01:00\"").expect("a time");
    assert_eq!(serde_json::to_string(&stamp).expect("text"), "\"2026-10-25T00:30:00Z\"");
    assert!(serde_json::from_str::<Stamp>("\"2026-10-25T01:30:00\"").is_err(), "no zone");
}
