//! Drawing in pixels with fractions, on the SVG backend.
//!
//! The backend rounds to whole units, so one pixel is ten units here and the size is put right in [`Canvas::finish`].
//! No font is looked up: text is placed by its anchor and left to whoever shows the file.

use plotters::prelude::{DrawingBackend, SVGBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, IntoFont, RGBColor, ShapeStyle, TextStyle};

use super::PlotError;
use crate::report::escape::escape;

/// Units of the backend a pixel.
const FINE: f64 = 10.0;
/// The backend divides font sizes by this.
const FONT: f64 = 1.24;

/// A position in pixels from the upper left corner.
pub(crate) type Point = (f64, f64);

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Stroke {
    pub(crate) colour: RGBColor,
    pub(crate) alpha: f64,
    pub(crate) width: f64,
    /// Lengths drawn and left out, px; solid if `None`.
    pub(crate) dash: Option<(f64, f64)>,
}

impl Stroke {
    pub(crate) const fn solid(colour: RGBColor, width: f64) -> Self {
        Self {
            colour,
            alpha: 1.0,
            width,
            dash: None,
        }
    }

    pub(crate) const fn dashed(self, on: f64, off: f64) -> Self {
        Self {
            dash: Some((on, off)),
            ..self
        }
    }

    pub(crate) const fn faint(self, alpha: f64) -> Self {
        Self { alpha, ..self }
    }

    fn style(self) -> ShapeStyle {
        ShapeStyle {
            color: self.colour.mix(self.alpha),
            filled: false,
            stroke_width: (self.width * FINE).round() as u32,
        }
    }
}

/// Where a text hangs on its position.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    Left,
    Centre,
    Right,
}

/// Look of a text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lettering {
    pub(crate) colour: RGBColor,
    pub(crate) size: f64,
    pub(crate) anchor: Anchor,
    pub(crate) bold: bool,
}

impl Lettering {
    pub(crate) const fn new(colour: RGBColor, size: f64, anchor: Anchor) -> Self {
        Self {
            colour,
            size,
            anchor,
            bold: false,
        }
    }

    pub(crate) const fn bold(self) -> Self {
        Self { bold: true, ..self }
    }
}

/// One drawing.
pub(crate) struct Canvas<'a> {
    backend: SVGBackend<'a>,
}

fn fine((x, y): Point) -> (i32, i32) {
    // The clamp keeps a wild value from becoming a wild integer; nothing is drawn that far out.
    let round = |v: f64| (v * FINE).round().clamp(-1e6, 1e6) as i32;
    (round(x), round(y))
}

impl<'a> Canvas<'a> {
    pub(crate) fn new(buffer: &'a mut String, width: f64, height: f64) -> Self {
        let size = ((width * FINE) as u32, (height * FINE) as u32);
        Self {
            backend: SVGBackend::with_string(buffer, size),
        }
    }

    /// A line through `points`; fewer than two draw nothing.
    pub(crate) fn line(&mut self, points: &[Point], stroke: Stroke) -> Result<(), PlotError> {
        let Some((on, off)) = stroke.dash else {
            return self.path(points, stroke);
        };
        for piece in dashes(points, on, off) {
            self.path(&piece, stroke)?;
        }
        Ok(())
    }

    fn path(&mut self, points: &[Point], stroke: Stroke) -> Result<(), PlotError> {
        if points.len() < 2 {
            return Ok(());
        }
        self.backend
            .draw_path(points.iter().copied().map(fine), &stroke.style())
            .map_err(PlotError::of)
    }

    /// A filled polygon.
    pub(crate) fn polygon(
        &mut self,
        points: &[Point],
        colour: RGBColor,
        alpha: f64,
    ) -> Result<(), PlotError> {
        if points.len() < 3 {
            return Ok(());
        }
        let style = ShapeStyle {
            color: colour.mix(alpha),
            filled: true,
            stroke_width: 0,
        };
        self.backend
            .fill_polygon(points.iter().copied().map(fine), &style)
            .map_err(PlotError::of)
    }

    /// A filled rectangle between two corners.
    pub(crate) fn block(
        &mut self,
        a: Point,
        b: Point,
        colour: RGBColor,
        alpha: f64,
    ) -> Result<(), PlotError> {
        let style = ShapeStyle {
            color: colour.mix(alpha),
            filled: true,
            stroke_width: 0,
        };
        let upper_left = fine((a.0.min(b.0), a.1.min(b.1)));
        let lower_right = fine((a.0.max(b.0), a.1.max(b.1)));
        self.backend
            .draw_rect(upper_left, lower_right, &style, true)
            .map_err(PlotError::of)
    }

    /// A text centred in height on its position.
    pub(crate) fn text(&mut self, text: &str, at: Point, look: Lettering) -> Result<(), PlotError> {
        let h_pos = match look.anchor {
            Anchor::Left => HPos::Left,
            Anchor::Centre => HPos::Center,
            Anchor::Right => HPos::Right,
        };
        let mut font = ("sans-serif", look.size * FINE * FONT).into_font();
        if look.bold {
            font = font.style(plotters::style::FontStyle::Bold);
        }
        let style = TextStyle::from(font)
            .color(&look.colour)
            .pos(Pos::new(h_pos, VPos::Center));
        // The backend writes entities but lets control characters through, which no XML document may hold.
        let text: String = text.chars().filter(|c| !c.is_control()).collect();
        self.backend
            .draw_text(&text, &style, fine(at))
            .map_err(PlotError::of)
    }

    /// Closes the drawing.
    pub(crate) fn close(mut self) -> Result<(), PlotError> {
        self.backend.present().map_err(PlotError::of)
    }
}

/// Gives a closed drawing its size in pixels, its name and its description for whoever cannot see it.
pub(crate) fn finish(drawn: &str, width: f64, height: f64, title: &str, description: &str) -> String {
    let units = format!(
        "width=\"{}\" height=\"{}\"",
        (width * FINE) as u32,
        (height * FINE) as u32
    );
    let head = format!(
        "width=\"{width}\" height=\"{height}\" role=\"img\" aria-label=\"{}\"",
        escape(&format!("{title}. {description}"))
    );
    let named = drawn.replacen(&units, &head, 1);
    match named.split_once(">\n") {
        Some((open, rest)) => {
            format!(
                "{open}>\n<title>{}</title>\n<desc>{}</desc>\n{rest}",
                escape(title),
                escape(description)
            )
        }
        None => named,
    }
}

/// Cuts a line into dashes by length.
fn dashes(points: &[Point], on: f64, off: f64) -> Vec<Vec<Point>> {
    let mut pieces = Vec::new();
    let Some(&first) = points.first() else {
        return pieces;
    };
    let (mut drawing, mut left) = (true, on);
    let mut piece = vec![first];
    let mut from = first;
    for &to in &points[1..] {
        let mut length = (to.0 - from.0).hypot(to.1 - from.1);
        while length > left {
            let share = left / length;
            from = (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1));
            length -= left;
            if drawing {
                piece.push(from);
                pieces.push(std::mem::take(&mut piece));
            } else {
                piece = vec![from];
            }
            drawing = !drawing;
            left = if drawing { on } else { off };
        }
        left -= length;
        from = to;
        if drawing {
            piece.push(to);
        }
    }
    if drawing && piece.len() > 1 {
        pieces.push(piece);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_have_the_lengths_asked_for_even_around_corners() {
        // 3 + 4 px around a corner; 2 on, 1 off: dashes 0–2, 3–5, 6–7.
        let pieces = dashes(&[(0.0, 0.0), (3.0, 0.0), (3.0, 4.0)], 2.0, 1.0);
        let length = |p: &Vec<Point>| -> f64 {
            p.windows(2)
                .map(|w| (w[1].0 - w[0].0).hypot(w[1].1 - w[0].1))
                .sum()
        };
        let lengths: Vec<f64> = pieces.iter().map(length).collect();
        assert_eq!(pieces.len(), 3);
        for (found, due) in lengths.iter().zip([2.0, 2.0, 1.0]) {
            assert!((found - due).abs() < 1e-9, "{lengths:?}");
        }
        assert!((pieces[1][0].0 - 3.0).abs() < 1e-9 && pieces[1][0].1.abs() < 1e-9);
    }
}
