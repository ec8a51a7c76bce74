//! Where text goes: data to standard output, talk to standard error.
//!
//! Texts of others (keys, names of files, reasons of the system) reach a terminal through here only: characters that would
//! act on it are shown as escapes.

use bicolumn_base::shown::{is_hidden, printable};
use std::borrow::Cow;
use std::io::{self, ErrorKind, Write};

/// The two streams of a command.
pub(crate) struct Console<'a> {
    out: Data<'a>,
    err: &'a mut (dyn Write + Send),
    /// May the error stream be drawn on?
    pub(crate) terminal: bool,
}

/// Standard output: after a first failure nothing more is written.
pub(crate) struct Data<'a> {
    out: &'a mut (dyn Write + Send),
    failed: Option<io::Error>,
}

impl Data<'_> {
    /// A line of data, written at once.
    pub(crate) fn line(&mut self, line: &str) {
        self.put(&printable(line));
    }

    /// A line of JSON, written at once.
    pub(crate) fn json(&mut self, line: &str) {
        self.put(&escaped_in_json(line));
    }

    fn put(&mut self, line: &str) {
        if self.failed.is_some() {
            return;
        }
        let written = writeln!(self.out, "{line}").and_then(|()| self.out.flush());
        self.failed = written.err();
    }

    /// The stream itself, for another program.
    pub(crate) fn writer(&mut self) -> &mut (dyn Write + Send) {
        &mut *self.out
    }

    /// Why data is lost. A reader that went away wants no more of it: that is no loss.
    fn loss(&self) -> Option<&io::Error> {
        let failed = self.failed.as_ref();
        failed.filter(|e| e.kind() != ErrorKind::BrokenPipe)
    }
}

impl<'a> Console<'a> {
    pub(crate) fn new(
        out: &'a mut (dyn Write + Send),
        err: &'a mut (dyn Write + Send),
        terminal: bool,
    ) -> Console<'a> {
        let out = Data { out, failed: None };
        Console { out, err, terminal }
    }

    /// A line of data.
    pub(crate) fn data(&mut self, line: &str) {
        self.out.line(line);
    }

    /// A line of JSON.
    pub(crate) fn json(&mut self, line: &str) {
        self.out.json(line);
    }

    /// A line of talk.
    pub(crate) fn say(&mut self, line: &str) {
        let _ = writeln!(self.err, "{}", printable(line));
    }

    /// An error: what is wrong, as it stands.
    pub(crate) fn error(&mut self, error: &dyn std::fmt::Display) {
        self.say(&format!("error: {error}"));
    }

    /// A warning: what has no effect, or is not as it should be, and stops nothing.
    pub(crate) fn warn(&mut self, warning: &dyn std::fmt::Display) {
        self.say(&format!("warning: {warning}"));
    }

    /// Exit status of a command that ended with `status`: data that could not be written make it at least `lost`.
    pub(crate) fn end(&mut self, status: u8, lost: u8) -> u8 {
        match self.out.loss().map(io::Error::to_string) {
            None => status,
            Some(reason) => {
                self.error(&format!("standard output cannot be written: {reason}"));
                status.max(lost)
            }
        }
    }

    /// Both streams, to be used side by side from several threads.
    pub(crate) fn split<'s>(&'s mut self) -> Streams<'s, 'a> {
        Streams {
            out: &mut self.out,
            err: &mut *self.err,
        }
    }
}

/// JSON on one line with hidden characters as escapes of JSON.
fn escaped_in_json(line: &str) -> Cow<'_, str> {
    if !line.chars().any(is_hidden) {
        return Cow::Borrowed(line);
    }
    let mut out = String::with_capacity(line.len());
    for c in line.chars() {
        match is_hidden(c) {
            // All of them have four digits at most.
            true => out.push_str(&format!("\\u{:04x}", u32::from(c))),
            false => out.push(c),
        }
    }
    Cow::Owned(out)
}

/// Standard output and standard error.
pub(crate) struct Streams<'s, 'a> {
    pub(crate) out: &'s mut Data<'a>,
    pub(crate) err: &'s mut (dyn Write + Send),
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Refusing(ErrorKind);

    impl Write for Refusing {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            Err(self.0.into())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_full_device_is_told_and_counts_a_closed_pipe_is_not() {
        for (kind, status) in [(ErrorKind::StorageFull, 1), (ErrorKind::BrokenPipe, 0)] {
            let (mut out, mut err) = (Refusing(kind), Vec::new());
            let mut console = Console::new(&mut out, &mut err, false);
            console.data("a");
            console.data("b");
            assert_eq!(console.end(0, 1), status);
            assert_eq!(console.end(2, 1), 2);
            let told = String::from_utf8(err).unwrap();
            let is_told = told.starts_with("error: standard output cannot be written: ");
            assert_eq!(is_told, status == 1, "{told}");
        }
    }

    #[test]
    fn nothing_that_acts_on_a_terminal_reaches_it() {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let mut console = Console::new(&mut out, &mut err, true);
        console.data("a\u{1b}[2J\tb");
        console.error(&"x\u{202e}y\n  hint: z");
        assert_eq!(out, b"a\\u{1b}[2J\tb\n");
        let text = serde_json::json!({"a": "x\u{202e}\u{7f}\u{1b}y"});
        let shown = escaped_in_json(&text.to_string()).into_owned();
        assert!(!shown.chars().any(is_hidden), "{shown}");
        assert_eq!(
            serde_json::from_str::<serde_json::Value>(&shown).unwrap(),
            text
        );
        assert_eq!(err, b"error: x\\u{202e}y\n  hint: z\n");
    }
}
