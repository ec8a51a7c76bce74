//! One row of the table: everything that is fixed about a response.

use bicolumn_base::Unit;

/// Load of the adjoint problem by which a response's discretisation error is estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ErrorEstimation {
    /// The load itself: the response is a multiple of its work.
    Load,
    /// A couple on the loaded facets about the axis of the moment.
    Couple,
    /// The rigid relative motion of the fracture's faces.
    RelativeMotion,
    /// The slope of a ball's mean stress, the ball staying where it is.
    Hotspot,
}

/// Fixed properties of a response. In a family with members, `{}` stands for the member: in `name` for its
/// name, in `definition` for its definition, in `words` and `head` for its word.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Row {
    pub(crate) name: &'static str,
    pub(crate) unit: Unit,
    pub(crate) definition: &'static str,
    /// Words in a sentence; `None` for the spelt-out name.
    pub(crate) words: Option<&'static str>,
    /// Head of a column in a narrow table; `None` for the words.
    pub(crate) head: Option<&'static str>,
    pub(crate) estimated_by: Option<ErrorEstimation>,
}

impl Row {
    pub(crate) const fn new(name: &'static str, unit: Unit, definition: &'static str) -> Row {
        Row {
            name,
            unit,
            definition,
            words: None,
            head: None,
            estimated_by: None,
        }
    }

    pub(crate) const fn words(self, words: &'static str) -> Row {
        Row {
            words: Some(words),
            ..self
        }
    }

    pub(crate) const fn head(self, head: &'static str) -> Row {
        Row {
            head: Some(head),
            ..self
        }
    }

    pub(crate) const fn estimated_by(self, load: ErrorEstimation) -> Row {
        Row {
            estimated_by: Some(load),
            ..self
        }
    }
}

/// Texts that stand for `{}` in the rows of a family.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Member {
    pub(crate) name: &'static str,
    pub(crate) definition: &'static str,
    pub(crate) word: &'static str,
}

/// Responses that [`crate::ResponseId`] lists together.
pub(crate) trait Listed: Copy {
    /// All, in column order.
    fn all() -> Vec<Self>;

    fn row(self) -> Row;

    fn member(self) -> Member;
}

/// A family of responses: the enum, its members in column order, and the row of each. A member's
/// definition is its documentation.
macro_rules! family {
    ($(#[$doc:meta])* $family:ident {
        $($id:ident: $name:literal, $unit:ident, $definition:literal $(, $set:ident($value:expr))*;)+
    }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $family {
            $(#[doc = $definition] $id,)+
        }

        impl $family {
            /// All of the family, in column order.
            pub const ALL: &'static [$family] = &[$($family::$id),+];

        }

        impl $crate::row::Listed for $family {
            fn all() -> Vec<$family> {
                $family::ALL.to_vec()
            }

            fn row(self) -> $crate::row::Row {
                match self {
                    $($family::$id => $crate::row::Row::new(
                        $name, bicolumn_base::Unit::$unit, $definition
                    )$(.$set($value))*,)+
                }
            }

            fn member(self) -> $crate::row::Member {
                $crate::row::Member::default()
            }
        }
    };
}

/// A family of responses for each member of another list, such as each plate: the pair of both.
macro_rules! of_each {
    ($(#[$doc:meta])* $pair:ident = $family:ident of $member:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $pair(pub $member, pub $family);

        impl $family {
            /// The response of one member.
            pub const fn of(self, member: $member) -> $pair {
                $pair(member, self)
            }
        }

        impl $crate::row::Listed for $pair {
            fn all() -> Vec<$pair> {
                let of = |m: $member| $family::ALL.iter().map(move |r| r.of(m));
                $member::ALL.into_iter().flat_map(of).collect()
            }

            fn row(self) -> $crate::row::Row {
                $crate::row::Listed::row(self.1)
            }

            fn member(self) -> $crate::row::Member {
                self.0.member()
            }
        }
    };
}

pub(crate) use {family, of_each};
