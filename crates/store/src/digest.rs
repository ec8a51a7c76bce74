//! Digests: the same content, the same text of 64 hexadecimal digits (BLAKE3).

use serde::Serialize;
use serde_json::Value;

/// Digest of any text or bytes.
pub fn digest_text(text: impl AsRef<[u8]>) -> String {
    blake3::hash(text.as_ref()).to_hex().to_string()
}

/// Digest of a value: of its canonical JSON, so that the order of map entries does not matter.
///
/// # Errors
/// serde_json's, when the value has no JSON form (for example a map with keys that are not text).
pub fn digest_of<T: Serialize>(value: &T) -> Result<String, serde_json::Error> {
    Ok(digest_text(canonical_json(&serde_json::to_value(value)?)))
}

/// JSON without blanks, map keys in byte order.
pub fn canonical_json(value: &Value) -> String {
    let mut out = String::new();
    write_canonical(value, &mut out);
    out
}

fn write_canonical(value: &Value, out: &mut String) {
    match value {
        Value::Array(items) => {
            out.push('[');
            for (i, item) in items.iter().enumerate() {
                if i > 0 {
                    out.push(',');
                }
                write_canonical(item, out);
            }
            out.push(']');
        }
        Value::Object(map) => {
            let mut entries: Vec<_> = map.iter().collect();
            entries.sort_by_key(|(key, _)| *key);
            out.push('{');
            for (i, (key, item)) in entries.into_iter().enumerate() {
                if i > 0 {
                    out.push(',');
                }
                out.push_str(&Value::String(key.clone()).to_string());
                out.push(':');
                write_canonical(item, out);
            }
            out.push('}');
        }
        plain => out.push_str(&plain.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_digest_is_blake3_of_the_canonical_text() {
        // Oracle: the published digest of the empty input (BLAKE3 paper, test vectors).
        assert_eq!(
            digest_text(""),
            "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262"
        );
        let value: Value =
            serde_json::from_str(r#"{ "b": [1, -20.5, null], "a": "x\"y" }"#).unwrap();
        assert_eq!(canonical_json(&value), r#"{"a":"x\"y","b":[1,-20.5,null]}"#);
    }

    #[test]
    fn order_of_keys_does_not_matter_but_every_value_does() {
        let read = |t: &str| digest_of(&serde_json::from_str::<Value>(t).unwrap()).unwrap();
        let one = read(r#"{"a":1,"b":{"c":2,"d":3}}"#);
        assert_eq!(one, read(r#"{"b":{"d":3,"c":2},"a":1}"#));
        assert_ne!(one, read(r#"{"a":1,"b":{"c":2,"d":3.0000000000000004}}"#));
    }
}
