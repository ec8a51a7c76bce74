//! Interfaces of a construct that could open or slide, but are solved as one body.

use bicolumn_geometry::{Construct, Head};
use bicolumn_job::{InterfaceInputs, InterfaceKind};

/// A sentence for each kind of interface that is meshed as its own surface and solved as bonded.
pub(crate) fn solved_bonded(construct: &Construct, inputs: &InterfaceInputs) -> Vec<String> {
    let mut told = Vec::new();
    let is_bonded = |kind: &InterfaceKind| kind.meeting.is_fixed();
    if let Some(fracture) = &construct.fracture
        && is_bonded(&inputs.fracture_faces)
    {
        if fracture.spec.gap_mm == 0.0 || fracture.step.is_some() {
            told.push(
                "the fracture's faces that touch are solved as bonded: they neither open nor slide"
                    .to_string(),
            );
        }
        if fracture
            .split
            .as_ref()
            .is_some_and(|s| s.spec.gap_mm == 0.0)
        {
            told.push(
                "the faces of the articular split are solved as bonded: they neither open nor slide"
                    .to_string(),
            );
        }
    }
    let bonded = |is: fn(&Head) -> bool| -> Vec<String> {
        let screws = construct.screws.iter().filter(|s| is(&s.head));
        let bonded = screws.filter(|s| is_bonded(&inputs.head_in_seat(s.number)));
        bonded.map(|s| s.number.to_string()).collect()
    };
    let seated = bonded(|h| matches!(h, Head::Seated { .. }));
    if !seated.is_empty() {
        told.push(format!(
            "non-locking heads are solved as bonded to their seats, without preload: {}",
            seated.join(", ")
        ));
    }
    let on_bone = bonded(|h| matches!(h, Head::OnBone { .. }));
    if !on_bone.is_empty() {
        told.push(format!(
            "screws independent of plates are solved as bonded to the bone under their heads and \
             along their shanks, without preload; a lag screw does not glide: {}",
            on_bone.join(", ")
        ));
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_geometry::{
        ConstructSpec, FractureSpec, IndependentScrewSpec, ScrewHold, SplitSpec,
    };
    use bicolumn_job::Meeting;

    fn solved_bonded(construct: &Construct) -> Vec<String> {
        let fixed = InterfaceKind {
            meeting: Meeting::Bonded,
            friction: 0.3,
        };
        let inputs = InterfaceInputs {
            plate_bone: fixed,
            head_seat: fixed,
            screw_bone: fixed,
            fracture_faces: fixed,
            named: vec![],
            contact_gap_mm: 0.0,
            increments: 1,
            plate_preload_n: [[0.0; 2]; 2],
            independent_preload_n: vec![],
            clamp_n: [0.0; 2],
        };
        let told = super::solved_bonded(construct, &inputs);
        let sliding = InterfaceKind {
            meeting: Meeting::Frictional,
            ..fixed
        };
        let all = InterfaceInputs {
            head_seat: sliding,
            fracture_faces: sliding,
            ..inputs
        };
        assert_eq!(super::solved_bonded(construct, &all), Vec::<String>::new());
        told
    }

    #[test]
    fn open_gaps_and_locking_screws_need_no_word_and_the_others_one_each() {
        assert_eq!(
            solved_bonded(&Construct::build(&ConstructSpec::orthogonal()).unwrap()),
            Vec::<String>::new()
        );
        let mut spec = ConstructSpec::orthogonal();
        spec.fracture = Some(FractureSpec {
            gap_mm: 0.0,
            split: Some(SplitSpec::default()),
            ..FractureSpec::default()
        });
        spec.plates[0].shaft_hold = ScrewHold::NonLocking;
        spec.independent = vec![IndependentScrewSpec::default()];
        let told = solved_bonded(&Construct::build(&spec).unwrap());
        for (text, word) in told.iter().zip(["fracture", "split", "non-locking", "lag"]) {
            assert!(text.contains(word), "{told:?}");
        }
        assert_eq!(told.len(), 4);
    }
}
