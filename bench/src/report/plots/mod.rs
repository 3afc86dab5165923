//! Plots as SVG, from the fit document alone.
//!
//! Each is drawn twice, wide for a page and narrow for a telephone. Every one carries a line that says under which
//! conditions it holds.

mod around;
pub(super) mod axis;
pub(super) mod canvas;
pub(super) mod caption;
mod cogging;
mod frequency;
mod friction;
mod heat;
mod latency;
pub(super) mod legend;
mod loops;
pub(super) mod palette;
pub(super) mod panel;
mod path;
mod resolution;
pub(super) mod sheet;
mod shock;
mod static_map;
mod steps;
mod stops;
mod trace;

use crate::fitting::FitDocument;

/// A drawing that failed: the place for its text ran out.
#[derive(Debug, thiserror::Error)]
#[error("a plot could not be drawn: {0}")]
pub struct PlotError(String);

impl PlotError {
    /// Wraps what the text's place said.
    pub(crate) fn of(error: impl std::fmt::Display) -> Self {
        Self(error.to_string())
    }
}

/// One plot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plot {
    /// File name without ending: `steps`, `latency`, `frequency`, `static-map`, `trace`, `shock`,
    /// `resolution`, `heat`, `loops`, `stops`, `friction`, `around`, `cogging`.
    pub name: &'static str,
    /// What it shows.
    pub title: String,
    /// How to read it.
    pub reading: String,
    /// SVG for a page.
    pub wide: String,
    /// SVG for a telephone.
    pub narrow: String,
}

/// Whether a drawing is for a page or a telephone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Format {
    Wide,
    Narrow,
}

impl Format {
    /// Width of the drawing, px.
    pub(crate) fn width(self) -> f64 {
        match self {
            Self::Wide => 880.0,
            // What a telephone of 390 px leaves for it, so that letters keep their size.
            Self::Narrow => 360.0,
        }
    }

    pub(crate) fn is_wide(self) -> bool {
        self == Self::Wide
    }
}

/// All plots that the document holds curves for.
///
/// # Errors
/// [`PlotError`] if the drawing backend fails.
pub fn plots(document: &FitDocument) -> Result<Vec<Plot>, PlotError> {
    let mut plots = Vec::new();
    if let Some(curves) = &document.curves.steps {
        plots.push(Plot {
            name: "steps",
            title: "Steps".into(),
            reading: "The onset, with the latency shaded and the 10 and 90 % instants marked, and the whole step until it \
                      has settled. Each thin line is one repeat; the thick line is the median of all, the band holds \
                      the middle 90 %."
                .into(),
            wide: steps::draw(document, curves, Format::Wide)?,
            narrow: steps::draw(document, curves, Format::Narrow)?,
        });
    }
    if let Some(curve) = document
        .curves
        .latency
        .as_ref()
        .filter(|c| c.per_repeat_s.iter().flatten().count() > 1)
    {
        plots.push(Plot {
            name: "latency",
            title: "Latency, repeat by repeat".into(),
            reading: "How the latency is spread over the repeats, and whether it wandered while they were played. A \
                      command that waits to be polled spreads evenly over one polling period."
                .into(),
            wide: latency::draw(document, curve, Format::Wide)?,
            narrow: latency::draw(document, curve, Format::Narrow)?,
        });
    }
    if let Some(curve) = document.curves.frequency.as_ref().filter(|c| c.f_hz.len() > 1) {
        plots.push(Plot {
            name: "frequency",
            title: "Frequency response, setpoint to rim torque".into(),
            reading:
                "Magnitude, phase and coherence over one frequency axis. Bands are 95 % intervals. Where the \
                      coherence is low, the torque does not follow the setpoint and nothing is read off."
                    .into(),
            wide: frequency::draw(document, curve, Format::Wide)?,
            narrow: frequency::draw(document, curve, Format::Narrow)?,
        });
    }
    if let Some(curve) = document
        .curves
        .static_map
        .as_ref()
        .filter(|c| c.command_nm.len() > 1)
    {
        plots.push(Plot {
            name: "static-map",
            title: "Static map".into(),
            reading:
                "Steady torque over command, up and down, and both less the line of the gain. What lies \
                      between the two ways is hysteresis; what both have in common is the map's own bend."
                    .into(),
            wide: static_map::draw(document, curve, Format::Wide)?,
            narrow: static_map::draw(document, curve, Format::Narrow)?,
        });
    }
    if let Some(curve) = document.curves.trace.as_ref().filter(|c| c.t_s.len() > 1) {
        plots.push(Plot {
            name: "trace",
            title: "Steering trace, commanded and arrived".into(),
            reading: "The delay is taken out, so that what is left between both lines is error. At the grip limit the \
                      shaded stretches are those whose means make the contrast. Below: how much of each octave arrives."
                .into(),
            wide: trace::draw(document, curve, Format::Wide)?,
            narrow: trace::draw(document, curve, Format::Narrow)?,
        });
    }
    plots.extend(of_the_driver(document)?);
    plots.extend(of_the_drivetrain(document)?);
    Ok(plots)
}

/// Plots of loops, friction and cogging.
fn of_the_drivetrain(document: &FitDocument) -> Result<Vec<Plot>, PlotError> {
    let curves = &document.curves;
    let mut plots = Vec::new();
    if let Some(curve) = curves.loops.as_ref().filter(|c| c.twist_rad.len() > 1) {
        plots.push(Plot {
            name: "loops",
            title: "Slow loops of the drivetrain".into(),
            reading: "Torque over the twist between rotor and rim: a gap shows as a flat stretch at zero torque, friction \
                      as the width of the loop. Stiffness is the slope of the flanks by torque, without a model; where it falls for \
                      good, a belt's slack span has let go."
                .into(),
            wide: loops::draw(document, curve, Format::Wide)?,
            narrow: loops::draw(document, curve, Format::Narrow)?,
        });
    }
    if !curves.stops.is_empty() {
        plots.push(Plot {
            name: "stops",
            title: "End stops".into(),
            reading: "Torque that presses the free rim onto each stop, slowly up and down, over its angle. What lies between both ways is \
                      friction, which goes on holding part of it when the torque is gone. The dashed line is the stop's own spring, \
                      friction taken out; it begins where the rim touches the stop."
                .into(),
            wide: stops::draw(document, &curves.stops, Format::Wide)?,
            narrow: stops::draw(document, &curves.stops, Format::Narrow)?,
        });
    }
    if let Some(curve) = curves.friction.as_ref().filter(|c| c.speed_rad_s.len() > 1) {
        plots.push(Plot {
            name: "friction",
            title: "Friction over speed".into(),
            reading: "Torque that turns the wheelbase steadily, both ways; and the mean of both ways, which the sensor's zero \
                      does not touch, with slow speeds drawn apart. It falls from rest and rises with speed; the dotted line has what \
                      ripple shakes out of the rotor still in it."
                .into(),
            wide: friction::draw(document, curve, Format::Wide)?,
            narrow: friction::draw(document, curve, Format::Narrow)?,
        });
    }
    let sectors = around::sectors(document);
    if !sectors.is_empty() {
        plots.push(Plot {
            name: "around",
            title: "Around the turn".into(),
            reading: "What friction, backlash or stiffness do over the angle of the rim, less their mean over the turn, by sectors. Bars that \
                      leave the line at nought by more than chance are a tight, a loose or a soft place."
                .into(),
            wide: around::draw(document, &sectors, Format::Wide)?,
            narrow: around::draw(document, &sectors, Format::Narrow)?,
        });
    }
    if let Some(curve) = curves.cogging.as_ref().filter(|c| c.angle_rad.len() > 1) {
        plots.push(Plot {
            name: "cogging",
            title: "Torque over the angle".into(),
            reading: "Above: torque that turns the wheelbase slowly, both ways; what lies between them is friction. Middle: half \
                      their sum, in which friction cancels. Below: its orders; thick lines stand out of the noise and are named \
                      after the part of the declared drivetrain that makes them."
                .into(),
            wide: cogging::draw(document, curve, Format::Wide)?,
            narrow: cogging::draw(document, curve, Format::Narrow)?,
        });
    }
    Ok(plots)
}

/// Plots of pulses, small steps and warming.
fn of_the_driver(document: &FitDocument) -> Result<Vec<Plot>, PlotError> {
    let curves = &document.curves;
    let mut plots = Vec::new();
    if let Some(curve) = curves
        .shock
        .as_ref()
        .filter(|c| c.train.is_some() || !c.lines.is_empty())
    {
        plots.push(Plot {
            name: "shock",
            title: "Short pulses".into(),
            reading: "Above: how much of a half-sine's crest arrives, by its width, each way and from each preload. Below: pulses \
                      close behind each other, as kerbs give them. Valleys that do not come down are smear; those that go \
                      beyond the preload are ringing."
                .into(),
            wide: shock::draw(document, curve, Format::Wide)?,
            narrow: shock::draw(document, curve, Format::Narrow)?,
        });
    }
    if let Some(curve) = curves
        .resolution
        .as_ref()
        .filter(|c| !(c.preloads.is_empty() && c.grain.is_empty()))
    {
        plots.push(Plot {
            name: "resolution",
            title: "Small changes".into(),
            reading: "Above: change of torque over change of command, each preload twice, away from zero and towards it; on the \
                      dotted line all of it arrives, in the shaded area it is not told from noise. Below: the spectrum of \
                      torque while it is held."
                .into(),
            wide: resolution::draw(document, curve, Format::Wide)?,
            narrow: resolution::draw(document, curve, Format::Narrow)?,
        });
    }
    if let Some(curve) = curves.heat.as_ref().filter(|c| c.t_s.len() > 1) {
        plots.push(Plot {
            name: "heat",
            title: "Warming".into(),
            reading: "Above: the temperature, and what one or two bodies warmed by the current say of it. Below: torque over the \
                      same time; what it loses while the command stays is what heat takes."
                .into(),
            wide: heat::draw(document, curve, Format::Wide)?,
            narrow: heat::draw(document, curve, Format::Narrow)?,
        });
    }
    Ok(plots)
}
