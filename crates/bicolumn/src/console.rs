//! Where text goes: data to standard output, talk to standard error.

use std::io::Write;

/// The two streams of a command.
pub(crate) struct Console<'a> {
    out: &'a mut (dyn Write + Send),
    err: &'a mut (dyn Write + Send),
    /// May the error stream be drawn on?
    pub(crate) terminal: bool,
}

impl<'a> Console<'a> {
    pub(crate) fn new(
        out: &'a mut (dyn Write + Send),
        err: &'a mut (dyn Write + Send),
        terminal: bool,
    ) -> Console<'a> {
        Console { out, err, terminal }
    }

    /// A line of data. A reader that went away is no error of ours.
    pub(crate) fn data(&mut self, line: &str) {
        let _ = writeln!(self.out, "{line}");
        let _ = self.out.flush();
    }

    /// A line of talk.
    pub(crate) fn say(&mut self, line: &str) {
        let _ = writeln!(self.err, "{line}");
    }

    /// An error: what is wrong, as it stands.
    pub(crate) fn error(&mut self, error: &dyn std::fmt::Display) {
        self.say(&format!("error: {error}"));
    }

    /// Both streams, to be used side by side from several threads.
    pub(crate) fn split(&mut self) -> Streams<'_> {
        Streams {
            out: &mut *self.out,
            err: &mut *self.err,
        }
    }
}

/// Standard output and standard error.
pub(crate) struct Streams<'a> {
    pub(crate) out: &'a mut (dyn Write + Send),
    pub(crate) err: &'a mut (dyn Write + Send),
}
