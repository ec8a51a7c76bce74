//! Do two triangles pass through each other?

use bicolumn_base::Vec3;

/// A point where an edge of one triangle passes through the inside of the other, if there is one.
/// Triangles that merely touch, or overlap in one plane, do not count.
pub(crate) fn crosses(a: &[Vec3; 3], b: &[Vec3; 3]) -> Option<Vec3> {
    let edges = |t: &[Vec3; 3]| [[t[0], t[1]], [t[1], t[2]], [t[2], t[0]]];
    edges(a)
        .iter()
        .find_map(|e| pierces(e, b))
        .or_else(|| edges(b).iter().find_map(|e| pierces(e, a)))
}

/// Where a segment passes through a triangle's inside.
fn pierces([p, q]: &[Vec3; 2], t: &[Vec3; 3]) -> Option<Vec3> {
    let normal = (t[1] - t[0]).cross(&(t[2] - t[0]));
    let (f, g) = ((p - t[0]).dot(&normal), (q - t[0]).dot(&normal));
    // Within a millionth of the triangle's size of its plane is touching.
    let slack = 1e-6 * normal.norm().powf(1.5);
    if f * g >= 0.0 || f.abs() < slack || g.abs() < slack {
        return None;
    }
    let x = p + (q - p) * (f / (f - g));
    let side = |i: usize| {
        let (u, v) = (t[i], t[(i + 1) % 3]);
        (v - u).cross(&(x - u)).dot(&normal) > 0.0
    };
    (side(0) && side(1) && side(2)).then_some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crossing_is_told_from_touching_and_missing() {
        let flat = [Vec3::zeros(), Vec3::x() * 4.0, Vec3::y() * 4.0];
        let pin = |x: f64, low: f64| {
            [
                Vec3::new(x, 1.0, low),
                Vec3::new(x, 1.0, 2.0),
                Vec3::new(x + 0.1, 1.2, 2.0),
            ]
        };
        let at = crosses(&flat, &pin(1.0, -1.0)).unwrap();
        assert!((at.z).abs() < 1e-12 && (at.y - 1.0).abs() < 0.2);
        assert!(crosses(&pin(1.0, -1.0), &flat).is_some());
        assert_eq!(crosses(&flat, &pin(1.0, 0.0)), None, "touches");
        assert_eq!(crosses(&flat, &pin(5.0, -1.0)), None, "misses");
    }
}
