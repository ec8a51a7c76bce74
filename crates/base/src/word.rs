//! Words: enumerations that a file spells.

/// An enumeration whose every value has one word in files.
pub trait Word: Copy + PartialEq + 'static {
    /// All values, in the order of the documentation.
    const ALL: &'static [Self];

    /// Its word.
    fn word(self) -> &'static str;

    /// Its meaning, in a clause.
    fn doc(self) -> &'static str;

    /// The value of a word.
    fn from_word(word: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|w| w.word() == word)
    }
}

/// Implements [`Word`](crate::Word) by one list of values, words and their meanings; a value that the list leaves out
/// does not compile.
///
/// ```
/// use bicolumn_base::{Word, words};
/// #[derive(Debug, Clone, Copy, PartialEq)]
/// enum Side { Medial, Lateral }
/// words! { Side {
///     Medial = "medial": "towards the midline",
///     Lateral = "lateral": "away from the midline",
/// } }
/// assert_eq!(Side::from_word("lateral"), Some(Side::Lateral));
/// assert_eq!(Side::from_word("dorsal"), None);
/// assert_eq!(Side::ALL.len(), 2);
/// assert_eq!(Side::Medial.doc(), "towards the midline");
/// ```
#[macro_export]
macro_rules! words {
    ($name:ident { $( $variant:ident = $word:literal : $doc:literal ),* $(,)? }) => {
        impl $crate::Word for $name {
            const ALL: &'static [$name] = &[ $( $name::$variant, )* ];

            fn word(self) -> &'static str {
                match self { $( $name::$variant => $word, )* }
            }

            fn doc(self) -> &'static str {
                match self { $( $name::$variant => $doc, )* }
            }
        }
    };
}
