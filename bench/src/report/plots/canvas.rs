//! Drawing in pixels with fractions, written as SVG by itself: what lies in a panel has to stand in a group of its own, with its axes
//! beside it, so that a page can zoom and read out the very elements that are printed.
//!
//! No font is looked up: text is placed by its anchor and left to whoever shows the file.

use std::fmt::Write as _;

use super::PlotError;
use super::legend::Sample;
use super::palette::RGBColor;
use super::panel::Panel;
use super::path;
use crate::report::escape::escape;

/// A position in pixels from the upper left corner.
pub(crate) type Point = (f64, f64);

/// Filled blocks up to this size within a panel are marks of points, which keep their size when a page zooms, px.
const MARK: f64 = 12.0;

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

/// One panel as it is collected: grid and numbers, what is drawn between the axes, and labels upon it.
struct Area {
    panel: Panel,
    names: [String; 2],
    grid: String,
    data: String,
    labels: String,
}

/// One drawing.
pub(crate) struct Canvas<'a> {
    buffer: &'a mut String,
    areas: Vec<Area>,
    loose: String,
    legend: Vec<Sample>,
    /// The panel whose grid is being drawn.
    in_grid: Option<usize>,
}

impl<'a> Canvas<'a> {
    /// Draws into `buffer`. The size is that of [`finish`].
    pub(crate) fn new(buffer: &'a mut String, _width: f64, _height: f64) -> Self {
        Self {
            buffer,
            areas: Vec::new(),
            loose: String::new(),
            legend: Vec::new(),
            in_grid: None,
        }
    }

    /// What the entries of the legend look like: elements that look the same belong to them.
    pub(super) fn legend(&mut self, samples: impl Iterator<Item = Sample>) {
        self.legend = samples.collect();
    }

    /// From here to [`Canvas::end_grid`] everything belongs to the grid of `panel`.
    pub(super) fn begin_grid(&mut self, panel: &Panel) {
        self.in_grid = Some(self.areas.len());
        self.areas.push(Area {
            panel: panel.clone(),
            names: [String::new(), String::new()],
            grid: String::new(),
            data: String::new(),
            labels: String::new(),
        });
    }

    /// Ends a grid.
    pub(super) fn end_grid(&mut self) {
        self.in_grid = None;
    }

    /// What the axes of a panel are called.
    pub(super) fn call(&mut self, panel: &Panel, x: &str, y: &str) {
        let same = |area: &&mut Area| area.panel.corner() == panel.corner();
        if let Some(area) = self.areas.iter_mut().find(same) {
            area.names = [x.to_owned(), y.to_owned()];
        }
    }

    /// Where an element goes that spans from `low` to `high`: into the panel that holds it, or beside all panels.
    fn place(&mut self, low: Point, high: Point) -> &mut String {
        let in_grid = self.in_grid;
        let holds = |(place, area): &(usize, &mut Area)| {
            let p = &area.panel;
            let inside = low.0 >= p.left - 0.5
                && high.0 <= p.right + 0.5
                && low.1 >= p.top - 0.5
                && high.1 <= p.bottom + 0.5;
            in_grid.map_or(inside, |grid| grid == *place)
        };
        match self.areas.iter_mut().enumerate().find(holds) {
            Some((_, area)) if in_grid.is_some() => &mut area.grid,
            Some((_, area)) => &mut area.data,
            None => &mut self.loose,
        }
    }

    /// Class of the legend's entry that looks like this.
    fn class(&self, is: impl Fn(&Sample) -> bool) -> String {
        let found = self.legend.iter().position(is);
        found.map_or_else(String::new, |entry| format!(" class=\"s{entry}\""))
    }

    /// A line through `points`; fewer than two draw nothing.
    pub(crate) fn line(&mut self, points: &[Point], stroke: Stroke) -> Result<(), PlotError> {
        if points.len() < 2 {
            return Ok(());
        }
        let class = self.class(|sample| matches!(sample, Sample::Line(other) if *other == stroke));
        let (low, high) = span(points);
        let dash = match stroke.dash {
            Some((on, off)) => format!(" stroke-dasharray=\"{on} {off}\""),
            None => String::new(),
        };
        let alpha = if stroke.alpha < 1.0 {
            format!(" stroke-opacity=\"{}\"", stroke.alpha)
        } else {
            String::new()
        };
        let text = format!(
            "<path{class} d=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{}\"{alpha}{dash}/>\n",
            path::open(points),
            stroke.colour,
            stroke.width
        );
        self.place(low, high).push_str(&text);
        Ok(())
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
        let (low, high) = span(points);
        let text = format!(
            "<path{} d=\"{}z\" fill=\"{colour}\" fill-opacity=\"{alpha}\"/>\n",
            self.class(|sample| is_area(sample, colour, alpha)),
            path::open(points)
        );
        self.place(low, high).push_str(&text);
        Ok(())
    }

    /// A filled rectangle between two corners; a small one within a panel is a point's mark.
    pub(crate) fn block(
        &mut self,
        a: Point,
        b: Point,
        colour: RGBColor,
        alpha: f64,
    ) -> Result<(), PlotError> {
        let (low, high) = ((a.0.min(b.0), a.1.min(b.1)), (a.0.max(b.0), a.1.max(b.1)));
        let (wide, tall) = (high.0 - low.0, high.1 - low.1);
        let class = self.class(|sample| is_area(sample, colour, alpha));
        let square = (wide - tall).abs() < 1e-6 && wide <= MARK;
        let text = if square {
            // A line without length and with square ends: it keeps its size whatever it is scaled by.
            format!(
                "<path{class} d=\"{}h0\" fill=\"none\" stroke=\"{colour}\" stroke-opacity=\"{alpha}\" stroke-width=\"{}\" \
                 stroke-linecap=\"square\"/>\n",
                path::open(&[(0.5 * (low.0 + high.0), 0.5 * (low.1 + high.1))]),
                path::short(wide)
            )
        } else {
            format!(
                "<rect{class} x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{colour}\" fill-opacity=\"{alpha}\"/>\n",
                path::short(low.0),
                path::short(low.1),
                path::short(wide),
                path::short(tall)
            )
        };
        let at = if square {
            (0.5 * (low.0 + high.0), 0.5 * (low.1 + high.1))
        } else {
            low
        };
        let end = if square { at } else { high };
        self.place(at, end).push_str(&text);
        Ok(())
    }

    /// A text centred in height on its position.
    pub(crate) fn text(&mut self, text: &str, at: Point, look: Lettering) -> Result<(), PlotError> {
        let anchor = match look.anchor {
            Anchor::Left => "start",
            Anchor::Centre => "middle",
            Anchor::Right => "end",
        };
        let bold = if look.bold { " font-weight=\"bold\"" } else { "" };
        // The middle of small letters lies 0.35 of their size above the line they stand on.
        let element = format!(
            "<text x=\"{}\" y=\"{}\" font-size=\"{}\" text-anchor=\"{anchor}\" fill=\"{}\"{bold}>{}</text>\n",
            path::short(at.0),
            path::short(at.1 + 0.35 * look.size),
            look.size,
            look.colour,
            escape(text)
        );
        if self.in_grid.is_some() {
            self.place(at, at).push_str(&element);
            return Ok(());
        }
        let inside = |area: &&mut Area| {
            let p = &area.panel;
            at.0 >= p.left && at.0 <= p.right && at.1 >= p.top && at.1 <= p.bottom
        };
        match self.areas.iter_mut().find(inside) {
            Some(area) => area.labels.push_str(&element),
            None => self.loose.push_str(&element),
        }
        Ok(())
    }

    /// Groups what follows with an entry of the legend, over an area that is not seen but can be met.
    pub(super) fn entry(&mut self, place: usize, corner: Point, (wide, tall): (f64, f64)) {
        self.loose.push_str(&format!(
            "<g class=\"key s{place}\"><rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" rx=\"3\" fill=\"none\" \
             pointer-events=\"all\"/>",
            path::short(corner.0),
            path::short(corner.1),
            path::short(wide),
            path::short(tall)
        ));
    }

    /// Ends such a group.
    pub(super) fn end_entry(&mut self) {
        self.loose.push_str("</g>\n");
    }

    /// Closes the drawing.
    pub(crate) fn close(self) -> Result<(), PlotError> {
        for area in &self.areas {
            let p = &area.panel;
            let axis = |axis: &super::axis::Axis| {
                let kind = if axis.logarithmic { "log" } else { "linear" };
                format!("{} {} {kind} {}", axis.low, axis.high, axis.spacing)
            };
            // A drawing within the drawing cuts off what zooming moves out of the panel; two pixels are left for thick lines.
            write!(
                self.buffer,
                "<g class=\"panel\" data-x=\"{}\" data-y=\"{}\" data-names=\"{}|{}\" data-box=\"{} {} {} {}\">\n<g class=\"grid\">\n{}\
                 </g>\n<svg x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" viewBox=\"{x} {y} {w} {h}\"><g class=\"data\">\n{}</g></svg>\n\
                 <g class=\"labels\">\n{}</g>\n</g>\n",
                axis(&p.x),
                axis(&p.y),
                escape(&area.names[0]),
                escape(&area.names[1]),
                path::short(p.left),
                path::short(p.top),
                path::short(p.right),
                path::short(p.bottom),
                area.grid,
                area.data,
                area.labels,
                x = path::short(p.left - 2.0),
                y = path::short(p.top - 2.0),
                w = path::short(p.right - p.left + 4.0),
                h = path::short(p.bottom - p.top + 4.0),
            )
            .map_err(PlotError::of)?;
        }
        self.buffer.push_str(&self.loose);
        Ok(())
    }
}

fn is_area(sample: &Sample, colour: RGBColor, alpha: f64) -> bool {
    matches!(sample, Sample::Area(other, a) if *other == colour && (a - alpha).abs() < 1e-9)
}

/// Corners of the smallest rectangle around points.
fn span(points: &[Point]) -> (Point, Point) {
    let start = (
        (f64::INFINITY, f64::INFINITY),
        (f64::NEG_INFINITY, f64::NEG_INFINITY),
    );
    points.iter().fold(start, |(low, high), p| {
        (
            (low.0.min(p.0), low.1.min(p.1)),
            (high.0.max(p.0), high.1.max(p.1)),
        )
    })
}

/// Puts a closed drawing into its frame: size in pixels, name and description for whoever cannot see it.
pub(crate) fn finish(drawn: &str, width: f64, height: f64, title: &str, description: &str) -> String {
    let height = height.ceil();
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\" role=\"img\" \
         aria-label=\"{}\" font-family=\"sans-serif\">\n<title>{}</title>\n<desc>{}</desc>\n{drawn}</svg>\n",
        escape(&format!("{title}. {description}")),
        escape(title),
        escape(description)
    )
}
