//! Text of others inside a message: on one line, without control characters, of bounded length.

use std::borrow::Cow;
use std::fmt::Write;

/// Longest text of others inside a message, in characters: of a key, a value, the name of a file.
pub const MOST_SHOWN: usize = 240;

/// Does a character change the terminal, the line or the direction of writing without being seen?
pub fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
}

/// A text on one line: hidden characters as escapes, and of a text longer than `most` characters its beginning and its end
/// with its length.
///
/// ```
/// use bicolumn_base::shown::one_line;
/// assert_eq!(one_line("red\u{1b}[31m", 80), "red\\u{1b}[31m");
/// assert_eq!(one_line(&"x".repeat(90), 20), "xxxxxxxxxx ... xxxxxxxxxx (90 characters)");
/// ```
pub fn one_line(text: &str, most: usize) -> String {
    let half = most / 2;
    let is_short = text.len() <= most || text.chars().nth(most).is_none();
    if is_short {
        return escaped(text, |_| false);
    }
    let place = |n: usize| text.char_indices().nth(n).map_or(text.len(), |(at, _)| at);
    let last = text
        .char_indices()
        .rev()
        .nth(half.saturating_sub(1))
        .map_or(0, |(at, _)| at);
    format!(
        "{} ... {} ({} characters)",
        escaped(&text[..place(half)], |_| false),
        escaped(&text[last..], |_| false),
        text.chars().count()
    )
}

/// A text of several lines with its hidden characters as escapes; line ends and tabs stay.
pub fn printable(text: &str) -> Cow<'_, str> {
    let stays = |c: char| matches!(c, '\n' | '\t');
    match text.chars().any(|c| is_hidden(c) && !stays(c)) {
        true => Cow::Owned(escaped(text, stays)),
        false => Cow::Borrowed(text),
    }
}

fn escaped(text: &str, stays: impl Fn(char) -> bool) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            c if !is_hidden(c) || stays(c) => out.push(c),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            '\r' => out.push_str("\\r"),
            c => {
                // A string takes every character.
                let _ = write!(out, "\\u{{{:x}}}", u32::from(c));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_hidden_character_and_no_line_end_gets_through() {
        let all: String = (0..0x2100).filter_map(char::from_u32).collect();
        let shown = one_line(&all, usize::MAX);
        assert!(!shown.chars().any(is_hidden));
        assert!(shown.contains("\\u{202e}") && shown.contains("\\n"));
        let lines = printable("a\n\tb\u{1b}[2J\u{202e}c");
        assert_eq!(lines, "a\n\tb\\u{1b}[2J\\u{202e}c");
        assert!(matches!(printable("µm, ° and ±"), Cow::Borrowed(_)));
    }

    #[test]
    fn a_long_text_keeps_both_ends_and_tells_its_length() {
        let long = "é".repeat(10_000_000) + "Z";
        let shown = one_line(&long, MOST_SHOWN);
        assert!(shown.chars().count() < MOST_SHOWN + 40, "{shown}");
        assert!(shown.ends_with("éZ (10000001 characters)"), "{shown}");
        assert_eq!(one_line("éé", 2), "éé");
    }
}
