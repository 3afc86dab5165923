//! What the factory builds.

/// A measurand of a model: where it lies and how it spreads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Its name.
    pub name: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Mean of the product.
    pub mean: f64,
    /// Standard deviation of the product.
    pub sd: f64,
    /// Standard deviation of one measurement with its own mounting.
    pub bench_sd: f64,
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

/// A model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Model {
    /// Its name.
    pub name: &'static str,
    /// Whether a belt drives its rim: firmware and belts concern those.
    pub belt: bool,
    /// What is measured, in the order of a record's values: latency, bandwidth, breakaway friction, peak torque, first
    /// resonance.
    pub measurands: [Measured; 5],
}

const fn measured(
    name: &'static str,
    unit: &'static str,
    [mean, sd, bench_sd]: [f64; 3],
    lower: Option<f64>,
    upper: Option<f64>,
) -> Measured {
    Measured {
        name,
        unit,
        mean,
        sd,
        bench_sd,
        lower,
        upper,
    }
}

const fn model(name: &'static str, belt: bool, peak: f64, resonance: f64, latency: f64) -> Model {
    let friction = if belt { 0.021 * peak } else { 0.012 * peak };
    Model {
        name,
        belt,
        measurands: [
            measured("latency", "ms", [latency, 0.16, 0.05], None, Some(latency + 0.85)),
            measured(
                "bandwidth",
                "Hz",
                [0.9 * resonance, 0.025 * resonance, 0.01 * resonance],
                Some(0.78 * resonance),
                None,
            ),
            measured(
                "breakaway friction",
                "N·m",
                [friction, 0.08 * friction, 0.03 * friction],
                None,
                Some(1.4 * friction),
            ),
            measured(
                "peak torque",
                "N·m",
                [peak, 0.012 * peak, 0.004 * peak],
                Some(0.95 * peak),
                Some(1.05 * peak),
            ),
            measured(
                "first resonance",
                "Hz",
                [resonance, 0.03 * resonance, 0.008 * resonance],
                Some(0.87 * resonance),
                Some(1.13 * resonance),
            ),
        ],
    }
}

/// All of them.
pub const MODELS: [Model; 4] = [
    model("Base 6", true, 6.0, 46.0, 5.2),
    model("Base 9", true, 9.0, 52.0, 4.6),
    model("Base 12", false, 12.0, 74.0, 3.1),
    model("Base 18", false, 18.0, 81.0, 2.9),
];
