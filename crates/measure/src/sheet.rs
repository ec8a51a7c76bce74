//! Responses of one load case as they are found.

use crate::Response;
use crate::ball::Found;
use crate::hot_stress::HotStress;
use crate::screw_forces::ScrewForce;
use bicolumn_base::Vec3;
use bicolumn_response::{Place, ResponseId};
use std::collections::BTreeMap;

/// Values by response.
#[derive(Default)]
pub(crate) struct Sheet(BTreeMap<ResponseId, Response>);

impl Sheet {
    /// A value without a place.
    pub(crate) fn put(&mut self, id: impl Into<ResponseId>, value: Option<f64>) {
        self.enter(Response {
            value,
            ..Response::none(id.into())
        });
    }

    /// A value with the place where it was found.
    pub(crate) fn put_at(&mut self, id: impl Into<ResponseId>, found: Option<Found>) {
        self.enter(Response {
            value: found.map(|f| f.0),
            at: found.map(|f| f.1.into()),
            ..Response::none(id.into())
        });
    }

    /// A largest stress with its place, the edge it may lie on, and its value under other choices.
    pub(crate) fn put_hot(
        &mut self,
        id: impl Into<ResponseId>,
        hot: Option<&HotStress>,
        place: impl Fn(&HotStress) -> Place,
    ) {
        let none = Response::none(id.into());
        self.enter(match hot {
            None => none,
            Some(hot) => Response {
                value: Some(hot.value_mpa),
                at: Some(hot.at.into()),
                place: Some(place(hot)),
                under: hot.under.clone(),
                balls: hot.balls.clone(),
                ..none
            },
        });
    }

    /// Principal stresses and strains at the place of a largest stress, and their part of yield: tension, compression,
    /// their strains, the part.
    pub(crate) fn put_severity(&mut self, ids: [ResponseId; 5], hot: Option<&HotStress>) {
        let severity = hot.map(|h| h.severity);
        let values = severity.map(|s| {
            [
                s.tension_mpa,
                s.compression_mpa,
                s.tension_strain_percent,
                s.compression_strain_percent,
                s.of_yield_percent,
            ]
        });
        for (k, id) in ids.into_iter().enumerate() {
            self.put(id, values.map(|v| v[k]));
        }
    }

    /// A value that stands for a place in the terms of the construct.
    pub(crate) fn put_placed(
        &mut self,
        id: impl Into<ResponseId>,
        found: Option<(f64, Vec3, Place)>,
    ) {
        self.enter(Response {
            value: found.map(|f| f.0),
            at: found.map(|f| f.1.into()),
            place: found.map(|f| f.2),
            ..Response::none(id.into())
        });
    }

    /// The value of largest size over all screws and cuts, with its sign.
    pub(crate) fn put_largest(
        &mut self,
        id: impl Into<ResponseId>,
        screws: &[ScrewForce],
        of: fn(&ScrewForce) -> f64,
    ) {
        let mut most: Option<&ScrewForce> = None;
        for s in screws {
            if most.is_none_or(|m| of(s).abs() > of(m).abs()) {
                most = Some(s);
            }
        }
        self.enter(Response {
            value: most.map(of),
            at: most.map(|s| s.at.into()),
            part: most.map(|s| s.screw.to_string()),
            ..Response::none(id.into())
        });
    }

    fn enter(&mut self, response: Response) {
        self.0.insert(response.id, response);
    }

    /// Every response in column order, without a value where nothing was put.
    pub(crate) fn in_column_order(mut self) -> Vec<Response> {
        let all = ResponseId::all().iter();
        all.map(|id| self.0.remove(id).unwrap_or(Response::none(*id)))
            .collect()
    }
}
