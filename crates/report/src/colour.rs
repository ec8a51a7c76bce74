//! Colours that carry numbers or tell lines apart.
//!
//! - Stress: the map "magma", reversed so that little stress is the pale colour of bone and much is
//!   dark. Perceptually uniform and readable in grey and with colour-vision deficiency. Data: every
//!   eighth entry of the map by Smith and van der Walt (2015), released as CC0.
//! - Lines: the palette of Okabe and Ito (2008), "Color Universal Design".

/// A colour as red, green, blue, each 0 to 1, as stored (sRGB, not linear).
pub type Rgb = [f64; 3];

/// "magma" from dark to pale at 33 equal steps.
const MAGMA: [u32; 33] = [
    0x000004, 0x030312, 0x0a0822, 0x130d34, 0x1d1147, 0x29115a, 0x36106b, 0x440f76, 0x51127c,
    0x5d177f, 0x6a1c81, 0x762181, 0x832681, 0x902a81, 0x9c2e7f, 0xaa337d, 0xb73779, 0xc43c75,
    0xd0416f, 0xdc4869, 0xe75263, 0xef5d5e, 0xf56b5c, 0xf9795d, 0xfc8961, 0xfd9869, 0xfea772,
    0xfeb67c, 0xfec488, 0xfed395, 0xfde2a3, 0xfcf0b2, 0xfcfdbf,
];

/// Line colours of Okabe and Ito without yellow, which is too pale for lines on white.
pub(crate) const LINES: [&str; 6] = [
    "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9",
];

/// The line colour of the level that the others are compared with.
pub(crate) const BASELINE: &str = "#222222";

/// Colour of a number between 0 (least) and 1 (most); outside it is clamped.
pub(crate) fn stress_colour(share: f64) -> Rgb {
    let last = MAGMA.len() - 1;
    let at = (1.0 - share.clamp(0.0, 1.0)) * last as f64;
    let low = (at.floor() as usize).min(last - 1);
    let (a, b) = (unpack(MAGMA[low]), unpack(MAGMA[low + 1]));
    let t = at - low as f64;
    [0, 1, 2].map(|i| a[i] + t * (b[i] - a[i]))
}

/// `#rrggbb`.
pub(crate) fn hex(colour: Rgb) -> String {
    let [r, g, b] = colour.map(|c| (c.clamp(0.0, 1.0) * 255.0).round() as u8);
    format!("#{r:02x}{g:02x}{b:02x}")
}

fn unpack(rgb: u32) -> Rgb {
    [16, 8, 0].map(|shift| f64::from((rgb >> shift) & 0xff) / 255.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// CIE lightness L* of an sRGB colour (IEC 61966-2-1 decoding, CIE 1976).
    fn lightness(colour: Rgb) -> f64 {
        let linear = colour.map(|c| {
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        });
        let y = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2];
        116.0 * y.cbrt() - 16.0
    }

    #[test]
    fn more_stress_is_darker_by_equal_steps_of_lightness() {
        let steps: Vec<f64> = (0..=20)
            .map(|i| lightness(stress_colour(f64::from(i) / 20.0)))
            .collect();
        let fall: Vec<f64> = steps.windows(2).map(|w| w[0] - w[1]).collect();
        // The darkest twentieth is left out: L* is not linear near black.
        for f in &fall[..18] {
            assert!((2.5..7.5).contains(f), "{fall:?}");
        }
    }

    #[test]
    fn ends_and_clamping() {
        assert_eq!(hex(stress_colour(0.0)), "#fcfdbf");
        assert_eq!(hex(stress_colour(1.0)), "#000004");
        assert_eq!(stress_colour(7.0), stress_colour(1.0));
    }
}
