//! Records that the program wrote when mesh, solver, sharing and contact were still free-form JSON, cut short: they
//! read into the types of today and are written again with the same keys and values.

#![allow(clippy::unwrap_used)]

use bicolumn_response::{Load, ScrewForce};
use bicolumn_store::{ContactStatus, PointRecord};
use serde_json::Value;

const LINEAR: &str = include_str!("data/plain.json");
const WITH_CONTACT: &str = include_str!("data/friction.json");

fn read(text: &str) -> PointRecord {
    serde_json::from_str(text).unwrap()
}

/// The record without keys that came into it later: an old record reads without them.
fn without_later_keys(mut record: Value, old: &Value) -> Value {
    if let (Value::Object(new), Value::Object(old)) = (&mut record, old) {
        new.retain(|key, _| old.contains_key(key));
        for (key, value) in new.iter_mut() {
            *value = without_later_keys(value.take(), &old[key]);
        }
    }
    if let (Value::Array(new), Value::Array(old)) = (&mut record, old) {
        assert_eq!(new.len(), old.len());
        for (value, old) in new.iter_mut().zip(old) {
            *value = without_later_keys(value.take(), old);
        }
    }
    record
}

#[test]
fn a_record_is_written_again_as_it_was() {
    for text in [LINEAR, WITH_CONTACT] {
        let old: Value = serde_json::from_str(text).unwrap();
        let again = serde_json::to_value(read(text)).unwrap();
        assert_eq!(without_later_keys(again, &old), old);
    }
}

#[test]
fn the_numbers_are_found_where_they_belong() {
    let point = read(LINEAR);
    let mesh = point.mesh.unwrap();
    assert_eq!((mesh.tets, mesh.nodes, mesh.fallback), (73_590, 120_581, 1));
    assert_eq!(mesh.parts[0].0, "bone.proximal.cortical");
    let solver = point.solver.unwrap();
    assert_eq!(
        (solver.method.as_str(), solver.iterations),
        ("aggregation", 27)
    );
    let case = &point.cases[0];
    assert!(case.contact.is_none());
    let sharing = case.sharing.as_ref().unwrap();
    assert_eq!(sharing.carried.len(), 4);
    let stiffness = case.response(&Load::Stiffness.into()).unwrap();
    assert_eq!(stiffness.value, Some(1553.4075505711605));
    // A name that this program no longer measures is still found.
    assert!(case.response(&"plate_end_hotspot_max_mpa".into()).is_some());
    let bending = case.response(&ScrewForce::Bending.into()).unwrap();
    assert!(bending.part.as_ref().unwrap().starts_with("screw."));
}

#[test]
fn contact_has_its_report() {
    let point = read(WITH_CONTACT);
    assert_eq!(point.preparation.len(), 1);
    let contact = point.cases[0].contact.as_ref().unwrap();
    assert!(contact.converged && contact.reason.is_none());
    assert_eq!(contact.report.status, ContactStatus::Converged);
    assert!(contact.report.sets.iter().any(|s| s.pressure_max_mpa > 0.0));
}

#[test]
fn a_record_without_a_key_of_the_mesh_is_refused() {
    let mut record: Value = serde_json::from_str(LINEAR).unwrap();
    let mesh = record["mesh"].as_object_mut().unwrap();
    mesh.remove("min_dihedral_deg").unwrap();
    let error = serde_json::from_value::<PointRecord>(record).unwrap_err();
    assert!(error.to_string().contains("min_dihedral_deg"), "{error}");
}
