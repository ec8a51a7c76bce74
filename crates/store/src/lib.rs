//! Records, atomic files, result tables.
//!
//! A study's folder holds `study.json` (once), `points/ID/record.json` (the proof that a point is
//! finished), `points/ID/surface.vtu` (for pictures), `results.csv`, `columns.json`, `report.html`.

pub mod record;

pub use record::{
    CaseRecord, FactorValue, PlateMark, PointRecord, ProfileRecord, ResponseRecord, ScrewMark,
    StageRecord, Status, StudyRecord,
};
