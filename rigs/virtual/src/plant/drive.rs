//! The drive between motor and hub: belt, gears or a rigid joint, as a spring with damping and a gap.
//!
//! `T = k·dz(Δ) + c·dΔ/dt` with `Δ = θ_motor − θ_hub` (both at the rim) and `dz` the dead zone of total width
//! `backlash`. Inside the gap nothing is transmitted, and teeth push but never pull: the sum is cut at zero on its
//! own side. Without a gap the damper acts always.
//!
//! A belt is a spring of two spans under pretension `F₀` on a pulley of radius `r`: from `T = 2·r·F₀` on the slack span carries nothing
//! and the taut one is left, half the stiffness with equal spans: `T = T_s + ½·k·(|Δ| − T_s/k)` beyond `T_s = 2·r·F₀`. Rad, N·m, N·m/rad, N·m·s/rad.

/// Stiffness, damping and gap of the drive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DriveParameters {
    /// Torsional stiffness k at the rim, N·m/rad; above 0.
    pub stiffness_nm_per_rad: f64,
    /// Damping c at the rim, N·m·s/rad; 0 or more.
    pub damping_nm_s_per_rad: f64,
    /// Total width of the gap at the rim, rad; 0 or more.
    pub backlash_rad: f64,
    /// Torque at the rim from which a belt's slack span carries nothing, N·m; infinite where nothing slackens.
    pub slack_nm: f64,
}

/// A last stage that is not the same all around the turn, as of an eccentric wheel: `n` times a turn the gap is wider by `½·p` and the
/// stiffness lower by a share of `½·s` than in the mean, and in between as much the other way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnevenDrive {
    /// Swing of the gap p, rad; 0 or more.
    pub gap_rad: f64,
    /// Swing of the stiffness over its mean s, 1; 0 to 1.
    pub stiffness: f64,
    /// How often a turn n.
    pub order: f64,
    /// Hub angle φ at which it is slackest, rad.
    pub slackest_rad: f64,
}

impl UnevenDrive {
    /// The drive as it is at a hub angle. What the energy stored would turn the hub by as the drive changes with the angle, `T²/2k` times
    /// the relative slope, is left out: for 2 N·m on 900 N·m/rad and a tenth of swing 0.1 mN·m.
    pub fn at(&self, drive: DriveParameters, angle_rad: f64) -> DriveParameters {
        let slack = 0.5 * (self.order * (angle_rad - self.slackest_rad)).cos();
        DriveParameters {
            stiffness_nm_per_rad: drive.stiffness_nm_per_rad * (1.0 - self.stiffness * slack),
            backlash_rad: (drive.backlash_rad + self.gap_rad * slack).max(0.0),
            ..drive
        }
    }
}

/// What of the stiffness is left when one of two equal spans carries nothing.
const ONE_SPAN: f64 = 0.5;

impl DriveParameters {
    /// Torque from motor to hub, N·m, at the given twist and rate of twist.
    pub fn torque_nm(&self, twist_rad: f64, rate_rad_s: f64) -> f64 {
        let damping = self.damping_nm_s_per_rad * rate_rad_s;
        if self.backlash_rad <= 0.0 {
            return self.elastic_nm(twist_rad) + damping;
        }
        let elastic = self.elastic_nm(self.beyond_gap_rad(twist_rad));
        if elastic > 0.0 {
            (elastic + damping).max(0.0)
        } else if elastic < 0.0 {
            (elastic + damping).min(0.0)
        } else {
            0.0
        }
    }

    /// Energy in the spring, J.
    pub fn energy_j(&self, twist_rad: f64) -> f64 {
        let beyond = self.beyond_gap_rad(twist_rad);
        let slack = self.slack_rad(beyond);
        let both = beyond.abs() - slack;
        0.5 * self.stiffness_nm_per_rad * both * both
            + slack * self.stiffness_nm_per_rad * (both + 0.5 * ONE_SPAN * slack)
    }

    /// Torque of the spring twisted by so much, N·m.
    fn elastic_nm(&self, twist_rad: f64) -> f64 {
        let slack = self.slack_rad(twist_rad);
        self.stiffness_nm_per_rad * (twist_rad - ((1.0 - ONE_SPAN) * slack).copysign(twist_rad))
    }

    /// How far the spring is twisted beyond where the slack span lets go, rad.
    fn slack_rad(&self, twist_rad: f64) -> f64 {
        (twist_rad.abs() - self.slack_nm / self.stiffness_nm_per_rad).max(0.0)
    }

    fn beyond_gap_rad(&self, twist_rad: f64) -> f64 {
        let half = 0.5 * self.backlash_rad;
        if twist_rad > half {
            twist_rad - half
        } else if twist_rad < -half {
            twist_rad + half
        } else {
            0.0
        }
    }
}
