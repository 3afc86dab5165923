//! Dry and viscous friction: the LuGre model.
//!
//! Canudas de Wit, Olsson, Åström, Lischinsky, "A new model for control of systems with friction", IEEE Trans.
//! Automatic Control 40 (1995), 419–425, with the speed-dependent damping of Olsson's thesis (Lund 1996):
//!
//! ```text
//! dz/dt = v − σ0·|v|·z / g(v)                    z   deflection of the bristles, rad
//! g(v)  = T_c + (T_s − T_c)·exp(−(v/v_s)²)       T_c Coulomb torque, T_s breakaway torque, N·m; v_s Stribeck speed, rad/s
//! T     = σ0·z + σ1(v)·dz/dt + σ2·v              σ0  stiffness, N·m/rad; σ2 viscous, N·m·s/rad
//! σ1(v) = σ1·exp(−(v/v_d)²)                      σ1  damping of the bristles, N·m·s/rad; v_d its decay speed
//! ```
//!
//! At speed the bristle equation is stiff (rate `r = σ0·|v|/g`), so it is stepped by the implicit mid-point rule, which is explicit in
//! `z`: `z⁺ = ((1 − h·r/2)·z + h·v)/(1 + h·r/2)`, with the torque of the mean deflection; `v/r` from `h·r = 2` on. An explicit method
//! goes wrong there silently.

/// Friction of one side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrictionParameters {
    /// Coulomb torque T_c, N·m; 0 for none.
    pub coulomb_nm: f64,
    /// Breakaway torque T_s, N·m; at least T_c.
    pub breakaway_nm: f64,
    /// Stribeck speed v_s, rad/s; above 0.
    pub stribeck_rad_s: f64,
    /// Bristle stiffness σ0, N·m/rad; 0 or more.
    pub stiffness_nm_per_rad: f64,
    /// Bristle damping σ1, N·m·s/rad; 0 or more.
    pub damping_nm_s_per_rad: f64,
    /// Speed over which σ1 dies away, rad/s; infinite keeps it constant.
    pub damping_speed_rad_s: f64,
    /// Viscous friction σ2, N·m·s/rad; 0 or more.
    pub viscous_nm_s_per_rad: f64,
}

impl FrictionParameters {
    /// Torque that friction comes to at a constant speed, N·m: `sgn(v)·g(v) + σ2·v`.
    pub fn steady_nm(&self, speed_rad_s: f64) -> f64 {
        let sign = if speed_rad_s > 0.0 {
            1.0
        } else {
            -f64::from(speed_rad_s < 0.0)
        };
        sign * self.level_nm(speed_rad_s) + self.viscous_nm_s_per_rad * speed_rad_s
    }

    fn level_nm(&self, speed_rad_s: f64) -> f64 {
        let s = speed_rad_s / self.stribeck_rad_s;
        self.coulomb_nm + (self.breakaway_nm - self.coulomb_nm) * (-s * s).exp()
    }
}

/// The bristles of one side.
#[derive(Debug, Clone)]
pub struct Friction {
    parameters: FrictionParameters,
    deflection_rad: f64,
}

impl Friction {
    /// Relaxed bristles.
    pub fn new(parameters: FrictionParameters) -> Self {
        Self {
            parameters,
            deflection_rad: 0.0,
        }
    }

    /// Advances the bristles by `step_s` at speed `speed_rad_s`; returns the torque against the motion, N·m.
    pub fn step(&mut self, speed_rad_s: f64, step_s: f64) -> f64 {
        self.step_loaded(speed_rad_s, step_s, 0.0)
    }

    /// The same under a load that raises `g(v)` by `load_nm`, N·m, 0 or more. The bristles' energy does not depend on
    /// the load, so a changing load only changes how fast they give way: friction takes energy, whatever the load does.
    pub fn step_loaded(&mut self, speed_rad_s: f64, step_s: f64, load_nm: f64) -> f64 {
        let p = &self.parameters;
        if p.coulomb_nm <= 0.0 {
            return p.viscous_nm_s_per_rad * speed_rad_s;
        }
        let before = self.deflection_rad;
        let rate = p.stiffness_nm_per_rad * speed_rad_s.abs() / (p.level_nm(speed_rad_s) + load_nm);
        let half = 0.5 * step_s * rate;
        self.deflection_rad = if half < 1.0 {
            ((1.0 - half) * before + step_s * speed_rad_s) / (1.0 + half)
        } else {
            speed_rad_s / rate
        };
        let d = speed_rad_s / p.damping_speed_rad_s;
        // Beyond five decay speeds less than 1e-10 of the damping is left.
        let damping = if d.abs() < 5.0 {
            p.damping_nm_s_per_rad * (-d * d).exp()
        } else {
            0.0
        };
        0.5 * p.stiffness_nm_per_rad * (before + self.deflection_rad)
            + damping * (self.deflection_rad - before) / step_s
            + p.viscous_nm_s_per_rad * speed_rad_s
    }

    /// Deflection of the bristles, rad.
    pub fn deflection_rad(&self) -> f64 {
        self.deflection_rad
    }

    /// Energy in the bristles, J: `σ0·z²/2`.
    pub fn energy_j(&self) -> f64 {
        0.5 * self.parameters.stiffness_nm_per_rad * self.deflection_rad * self.deflection_rad
    }
}
