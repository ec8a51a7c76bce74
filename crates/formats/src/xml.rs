//! The few XML constructs that a `.vtu` file uses: tags, attributes, text between tags.

use crate::data_array::VtuError;

/// A tag in a byte stream.
#[derive(Debug, Clone, PartialEq)]
pub struct Tag<'a> {
    /// Element name; a closing tag keeps its slash (`/Piece`).
    pub name: &'a str,
    /// Attributes in order, values unescaped.
    pub attributes: Vec<(&'a str, String)>,
    /// Position of the byte after `>`.
    pub end: usize,
    /// Ends in `/>`?
    pub closed: bool,
}

impl Tag<'_> {
    /// An attribute's value.
    pub fn get(&self, name: &str) -> Option<&str> {
        self.attributes
            .iter()
            .find(|(n, _)| *n == name)
            .map(|(_, v)| v.as_str())
    }

    /// An attribute that must be a whole number.
    ///
    /// # Errors
    /// [`VtuError::Malformed`] when it is missing or no number.
    pub fn number(&self, name: &str) -> Result<usize, VtuError> {
        self.get(name)
            .and_then(|v| v.trim().parse().ok())
            .ok_or_else(|| {
                VtuError::Malformed(format!("<{}> needs a whole number {name}", self.name))
            })
    }
}

/// The next tag at or after `from`; comments and declarations are passed over.
///
/// # Errors
/// [`VtuError::Malformed`] for a tag that does not end or is not UTF-8.
pub fn next_tag(bytes: &[u8], mut from: usize) -> Result<Option<Tag<'_>>, VtuError> {
    loop {
        let Some(open) = find(bytes, b"<", from) else {
            return Ok(None);
        };
        let cut = || VtuError::Malformed("the file ends inside a tag".into());
        if bytes[open..].starts_with(b"<!--") {
            from = find(bytes, b"-->", open).ok_or_else(cut)? + 3;
            continue;
        }
        let close = find(bytes, b">", open).ok_or_else(cut)?;
        let inside = std::str::from_utf8(&bytes[open + 1..close])
            .map_err(|_| VtuError::Malformed("a tag is not UTF-8 text".into()))?;
        if inside.starts_with(['?', '!']) {
            from = close + 1;
            continue;
        }
        let closed = inside.ends_with('/');
        let inside = inside.strip_suffix('/').unwrap_or(inside);
        let (name, rest) = inside
            .split_once(|c: char| c.is_ascii_whitespace())
            .unwrap_or((inside, ""));
        return Ok(Some(Tag {
            name,
            attributes: attributes(rest)?,
            end: close + 1,
            closed,
        }));
    }
}

fn attributes(mut text: &str) -> Result<Vec<(&str, String)>, VtuError> {
    let mut list = Vec::new();
    loop {
        text = text.trim_start();
        if text.is_empty() {
            return Ok(list);
        }
        let bad = || VtuError::Malformed(format!("bad attribute near \"{:.30}\"", text));
        let (name, rest) = text.split_once('=').ok_or_else(bad)?;
        let rest = rest.trim_start();
        let quote = rest
            .chars()
            .next()
            .filter(|c| matches!(c, '"' | '\''))
            .ok_or_else(bad)?;
        let (value, rest) = rest[1..].split_once(quote).ok_or_else(bad)?;
        list.push((name.trim(), unescape(value)));
        text = rest;
    }
}

/// First position of `needle` at or after `from`.
pub fn find(bytes: &[u8], needle: &[u8], from: usize) -> Option<usize> {
    bytes
        .get(from..)?
        .windows(needle.len())
        .position(|w| w == needle)
        .map(|p| p + from)
}

/// Escapes text for an attribute.
pub fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

fn unescape(text: &str) -> String {
    text.replace("&quot;", "\"")
        .replace("&apos;", "'")
        .replace("&gt;", ">")
        .replace("&lt;", "<")
        .replace("&amp;", "&")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tag_with_quotes_and_entities() {
        let text =
            b"<?xml version='1.0'?><!-- a > b --><DataArray Name=\"a &lt; b\" type='Int32' />";
        let tag = next_tag(text, 0).unwrap().unwrap();
        assert_eq!(tag.name, "DataArray");
        assert_eq!(tag.get("Name"), Some("a < b"));
        assert_eq!(tag.get("type"), Some("Int32"));
        assert!(tag.closed);
        assert_eq!(next_tag(text, tag.end).unwrap(), None);
    }

    #[test]
    fn a_cut_tag_is_an_error() {
        assert!(next_tag(b"<Piece NumberOfPoints=\"3", 0).is_err());
        assert!(next_tag(b"<Piece NumberOfPoints=>", 0).is_err());
    }
}
