//! Records, atomic files, result tables.
//!
//! A study's folder ([`StudyFolder`]) holds `study.json` (once), `points/ID/record.json` (the proof
//! that a point is finished), `points/ID/surface.vtu` (for pictures), `results.csv`, `columns.json`,
//! `report.html`. Every file comes into being by an atomic rename ([`write_atomic`]); a record carries
//! the checksum of its own content and is refused when it does not match ([`read_record`]).
//!
//! # Known limits
//! A folder is held by one run ([`Hold`]); whether one of another machine still lives cannot be told.

#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod as_built;
pub mod atomic;
mod contact_record;
pub mod digest;
pub mod error;
mod evidence;
mod hold;
pub mod layout;
mod maker_record;
mod models;
mod moved_record;
mod number;
pub mod published;
pub mod published_record;
mod published_table;
mod pulse;
pub mod record;
pub mod record_file;
pub mod results;
mod screw_record;
mod screw_table;
mod sensitivity_table;
pub mod table_columns;

pub use as_built::{AS_BUILT, AsBuilt, load_line_mm, off_shaft_mm, one_cortex_screws};
pub use atomic::{can_write, create_folder, is_temporary, remove_temporary, write_atomic};
pub use contact_record::{ContactRecord, ContactReport, ContactStatus, InterfaceRecord};
pub use digest::{digest_of, digest_text};
pub use error::StoreError;
pub use evidence::{MeshRecord, SolverRecord};
pub use hold::{Asked, Hold, Holder, host_name};
pub use layout::StudyFolder;
pub use maker_record::{MakerRecord, StopRecord};
pub use models::{ModelFactor, ModelForm, ModelRange, ModelRecord, ModelsRecord};
pub use moved_record::MovedRecord;
pub use published::{
    Band, Comparison, Interval, PublishedVerdict, compare_published, levels_in_words,
};
pub use published_record::{PublishedOrder, PublishedRecord};
pub use pulse::{PointUnderWay, Pulse, now_s};
pub use record::{
    CarriedRecord, CaseRecord, DensityRecord, DistributionRecord, FactorValue, HeadlineRecord,
    HypothesisRecord, InputRecord, MeshNoise, PlateMark, PointRecord, ProfileRecord, REPLICATE,
    ResponseRecord, SCHEMA, ScrewForceRecord, ScrewMark, SharingRecord, StageRecord, Status,
    StudyRecord, UnderChoice, WallProfileRecord,
};
pub use record_file::{Record, read_record, write_record};
pub use results::{Gathered, gather};
pub use screw_record::{ConcessionRecord, NeighbourRecord, ScrewAsBuiltRecord};
