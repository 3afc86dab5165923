//! Colours. The hues are those of Okabe and Ito (Color Universal Design, 2008), told apart by every common kind of
//! colour vision; lines that matter differ in dash and width as well, so that a grey print can be read.

/// A colour of the sRGB space.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct RGBColor(pub(crate) u8, pub(crate) u8, pub(crate) u8);

impl std::fmt::Display for RGBColor {
    /// As SVG and CSS write it, in capitals: the style sheet exchanges colours by this text.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "#{:02X}{:02X}{:02X}", self.0, self.1, self.2)
    }
}

/// Text and frames.
pub(crate) const INK: RGBColor = RGBColor(0x1F, 0x29, 0x33);
/// Axis numbers, captions.
pub(crate) const SOFT: RGBColor = RGBColor(0x52, 0x60, 0x6D);
/// Grid.
pub(crate) const GRID: RGBColor = RGBColor(0xDD, 0xE2, 0xE8);
/// What was measured.
pub(crate) const BLUE: RGBColor = RGBColor(0x00, 0x72, 0xB2);
/// Limits and marks read off a curve.
pub(crate) const VERMILION: RGBColor = RGBColor(0xD5, 0x5E, 0x00);
/// What a model says.
pub(crate) const GREEN: RGBColor = RGBColor(0x00, 0x9E, 0x73);
/// Where the rig rings.
pub(crate) const ORANGE: RGBColor = RGBColor(0xE6, 0x9F, 0x00);
