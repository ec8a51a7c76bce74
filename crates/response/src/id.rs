//! The typed handle of a response.

use crate::bone_stress::{BeyondEndAt, LargestOfPlates, LastScrewAt, Shaft};
use crate::check::Check;
use crate::contact::{ContactAt, Preload};
use crate::hardware::{Hardware, PlateForceAt, PlateStressAt, ScrewForce, ShareAt};
use crate::load::Load;
use crate::motion::Motion;
use crate::row::{ErrorEstimation, Listed, Member, Row};
use bicolumn_base::Unit;
use serde::{Serialize, Serializer};
use std::collections::BTreeMap;
use std::fmt;
use std::sync::LazyLock;

macro_rules! response_id {
    ($($variant:ident($listed:ident)),+ $(,)?) => {
        /// A response: a column of `results.csv`. Its families convert into it.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[allow(missing_docs)]
        pub enum ResponseId {
            $($variant($listed)),+
        }

        $(impl From<$listed> for ResponseId {
            fn from(id: $listed) -> ResponseId {
                ResponseId::$variant(id)
            }
        })+

        /// Every response, in column order.
        static ALL: LazyLock<Vec<ResponseId>> = LazyLock::new(|| {
            let mut all = Vec::new();
            $(all.extend($listed::all().into_iter().map(ResponseId::$variant));)+
            all
        });

        impl ResponseId {
            fn row(self) -> (Row, Member) {
                match self {
                    $(ResponseId::$variant(id) => (id.row(), id.member())),+
                }
            }
        }
    };
}

response_id! {
    Load(Load),
    Motion(Motion),
    LargestOfPlates(LargestOfPlates),
    LastScrew(LastScrewAt),
    BeyondEnd(BeyondEndAt),
    Shaft(Shaft),
    PlateStress(PlateStressAt),
    Hardware(Hardware),
    ScrewForce(ScrewForce),
    PlateForce(PlateForceAt),
    Share(ShareAt),
    Contact(ContactAt),
    Preload(Preload),
    Check(Check),
}

static BY_NAME: LazyLock<BTreeMap<String, ResponseId>> =
    LazyLock::new(|| ALL.iter().map(|id| (id.name(), *id)).collect());

impl ResponseId {
    /// Every response, in column order.
    pub fn all() -> &'static [ResponseId] {
        &ALL
    }

    /// Response with this column name.
    pub fn from_name(name: &str) -> Option<ResponseId> {
        BY_NAME.get(name).copied()
    }

    /// Column name; ends in the unit, ratios excepted.
    pub fn name(self) -> String {
        let (row, member) = self.row();
        row.name.replace("{}", member.name)
    }

    /// Unit of the value.
    pub fn unit(self) -> Unit {
        self.row().0.unit
    }

    /// Exact definition, as in `columns.json`.
    pub fn definition(self) -> String {
        let (row, member) = self.row();
        row.definition.replace("{}", member.definition)
    }

    /// Words for a sentence: "stiffness"; the spelt-out name where the row gives none.
    pub fn words(self) -> String {
        let (row, member) = self.row();
        match row.words {
            Some(words) => words.replace("{}", member.word),
            None => spelt_out(&self.name()),
        }
    }

    /// Head of a column in a narrow table: the words, or a shorter form.
    pub fn head(self) -> String {
        let (row, member) = self.row();
        match row.head {
            Some(head) => head.replace("{}", member.word),
            None => self.words(),
        }
    }

    /// Adjoint load by which the discretisation error is estimated; `None`: there is no estimate.
    pub fn estimated_by(self) -> Option<ErrorEstimation> {
        self.row().0.estimated_by
    }
}

/// A column's name without its unit, in words.
pub(crate) fn spelt_out(name: &str) -> String {
    Unit::stem(name).replace('_', " ")
}

impl fmt::Display for ResponseId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.name())
    }
}

impl Serialize for ResponseId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Carrier, InterfaceKind, LastScrew, PlateColumn};

    #[test]
    fn names_are_unique_end_in_their_unit_and_are_found_again() {
        for id in ResponseId::all() {
            let name = id.name();
            match id.unit() {
                Unit::One => assert_eq!(Unit::of_name(&name), None, "{name}"),
                unit => assert_eq!(Unit::of_name(&name), Some(unit), "{name}"),
            }
            assert_eq!(ResponseId::from_name(&name), Some(*id), "{name}");
        }
        assert_eq!(ResponseId::from_name("stiffness"), None);
    }

    #[test]
    fn texts_are_filled_in() {
        for id in ResponseId::all() {
            for text in [id.name(), id.definition(), id.words(), id.head()] {
                assert!(!text.is_empty() && !text.contains(['{', '}']), "{text}");
            }
            assert!(id.definition().ends_with('.'), "{id}");
        }
    }

    #[test]
    fn every_member_of_a_family_has_its_columns() {
        // Counted by hand: single responses, then columns by plate, by carrier, by kind of interface.
        let single = 5 + 18 + 5 + 2 + 1 + 4 + 4 + 8;
        let by_plate = (8 + 11 + 1 + 3) * PlateColumn::ALL.len();
        let by_carrier = 4 * Carrier::ALL.len();
        let by_kind = 5 * InterfaceKind::ALL.len();
        assert_eq!(
            ResponseId::all().len(),
            single + by_plate + by_carrier + by_kind
        );
    }

    #[test]
    fn words_name_the_plate_and_fall_back_to_the_name() {
        let at = |plate| ResponseId::from(LastScrew::Structural.of(plate));
        assert_eq!(
            at(PlateColumn::Medial).words(),
            "bone stress at the last screw, medial plate"
        );
        assert_eq!(at(PlateColumn::Other).head(), "other last screw");
        assert_eq!(
            ResponseId::from(Load::Displacement).head(),
            "load displacement"
        );
    }
}
