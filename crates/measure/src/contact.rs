//! Responses of interfaces that open, press and slide, and of preload.

use crate::sheet::Sheet;
use bicolumn_response::{Contact, FractureColumn, InterfaceKind, Preload};

/// Contact of one load case, as the measures read it. A case that did not converge has no response at all.
#[derive(Debug, Clone, PartialEq)]
pub enum CaseContact {
    /// The iterations ended without a solution.
    NotConverged,
    /// The iterations converged.
    Converged(ContactState),
}

/// State of all interfaces at the end of a load case.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ContactState {
    /// Interfaces that touch or may touch.
    pub interfaces: Vec<InterfaceState>,
    /// Tension left in each tightened screw over the tension it was tightened to.
    pub tension_left: Vec<f64>,
    /// Compression across the medial and the lateral column of the fracture before any load, N, if it was
    /// clamped.
    pub compression_n: Option<[f64; 2]>,
}

/// State of one interface at the end of a load case.
#[derive(Debug, Clone, PartialEq)]
pub struct InterfaceState {
    /// Kind.
    pub kind: InterfaceKind,
    /// Largest pressure at a corner of its facets, MPa.
    pub pressure_max_mpa: f64,
    /// Pressure averaged over the area under pressure, MPa.
    pub pressure_mean_mpa: f64,
    /// Area under pressure, mm².
    pub area_mm2: f64,
    /// Largest slip under pressure since the case began, mm.
    pub slip_max_mm: f64,
    /// Largest opening, mm.
    pub opening_max_mm: f64,
}

impl ContactState {
    /// Puts the responses of each kind of interface that there is, and those of preload.
    pub(crate) fn put(&self, sheet: &mut Sheet) {
        for kind in InterfaceKind::ALL {
            self.put_kind(sheet, kind);
        }
        if !self.tension_left.is_empty() {
            let left = self.tension_left.iter().copied();
            let least = left.clone().fold(f64::INFINITY, f64::min);
            sheet.put(Preload::TensionLeftLeast, Some(least));
            let mean = left.sum::<f64>() / self.tension_left.len() as f64;
            sheet.put(Preload::TensionLeftMean, Some(mean));
        }
        let columns = FractureColumn::ALL.into_iter();
        for (column, value) in columns.zip(self.compression_n.into_iter().flatten()) {
            sheet.put(Preload::compression(column), Some(value));
        }
    }

    fn put_kind(&self, sheet: &mut Sheet, kind: InterfaceKind) {
        let all = self.interfaces.iter().filter(|i| i.kind == kind);
        let of_kind: Vec<&InterfaceState> = all.collect();
        if of_kind.is_empty() {
            return;
        }
        let most =
            |of: fn(&InterfaceState) -> f64| of_kind.iter().map(|i| of(i)).fold(0.0, f64::max);
        let sum = |of: fn(&InterfaceState) -> f64| of_kind.iter().map(|i| of(i)).sum::<f64>();
        let mut put = |response: Contact, value| sheet.put(response.of(kind), Some(value));
        put(Contact::PressureMax, most(|i| i.pressure_max_mpa));
        put(Contact::Area, sum(|i| i.area_mm2));
        put(Contact::Force, sum(|i| i.pressure_mean_mpa * i.area_mm2));
        put(Contact::SlipMax, most(|i| i.slip_max_mm));
        put(Contact::OpeningMax, most(|i| i.opening_max_mm));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_response::ResponseId;

    fn interface(kind: InterfaceKind, pressure: f64) -> InterfaceState {
        InterfaceState {
            kind,
            pressure_max_mpa: pressure,
            pressure_mean_mpa: 0.5 * pressure,
            area_mm2: 10.0,
            slip_max_mm: 0.01,
            opening_max_mm: 0.02,
        }
    }

    #[test]
    fn responses_gather_the_interfaces_of_their_kind() {
        let state = ContactState {
            interfaces: vec![
                interface(InterfaceKind::Plate, 4.0),
                interface(InterfaceKind::Plate, 6.0),
                interface(InterfaceKind::Head, 9.0),
            ],
            tension_left: vec![90.0 / 100.0, 140.0 / 200.0],
            compression_n: Some([30.0, 50.0]),
        };
        let mut sheet = Sheet::default();
        state.put(&mut sheet);
        let responses = sheet.in_column_order();
        let value = |id: ResponseId| responses.iter().find(|r| r.id == id).unwrap().value;
        let at = |r: Contact, kind| value(r.of(kind).into());
        assert_eq!(at(Contact::PressureMax, InterfaceKind::Plate), Some(6.0));
        assert_eq!(at(Contact::Area, InterfaceKind::Plate), Some(20.0));
        assert_eq!(at(Contact::Force, InterfaceKind::Plate), Some(50.0));
        assert_eq!(at(Contact::PressureMax, InterfaceKind::Head), Some(9.0));
        let none = at(Contact::Area, InterfaceKind::Fracture);
        assert_eq!(none, None, "no such interface");
        assert_eq!(value(Preload::TensionLeftLeast.into()), Some(0.7));
        let mean = value(Preload::TensionLeftMean.into()).unwrap();
        assert!((mean - 0.8).abs() < 1e-12);
        assert_eq!(value(Preload::CompressionLateral.into()), Some(50.0));
    }
}
