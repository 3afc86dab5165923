//! What can go wrong with the wheelbase and its mounting.

use super::Plant;

impl Plant {
    /// From now on the motor makes this torque while powered, whatever the setpoint says; `None` ends it.
    pub fn set_runaway_nm(&mut self, torque_nm: Option<f64>) {
        self.runaway_nm = torque_nm;
    }

    /// The torque at which the clamp slips from now on, N·m.
    pub fn set_clamp_holding_nm(&mut self, torque_nm: f64) {
        self.mounting.set_holding_nm(torque_nm);
    }

    /// A hand holds what it can reach from now on with this friction, N·m; 0 lets go. On a free mounting that is the disc,
    /// beyond the sensor; else the hub, which gives by friction/σ0 of the output side first.
    pub fn set_grab_nm(&mut self, grab_nm: f64) {
        if self.mounting.has_disc() {
            self.mounting.set_held_nm(grab_nm);
        } else {
            self.grab_nm = grab_nm;
        }
    }

    /// A blow changes the speed of what it can reach by this, rad/s: a free mounting's disc, else the hub.
    pub fn strike(&mut self, change_rad_s: f64) {
        if self.mounting.has_disc() {
            self.mounting.strike(change_rad_s);
        } else {
            self.hub_speed_rad_s += change_rad_s;
            self.before_rad_s[1] += change_rad_s;
        }
    }

    /// The belt slips: from now on its motor side is this much further on, rad at the rim.
    pub fn slip_belt(&mut self, angle_rad: f64) {
        self.slipped_rad += angle_rad;
    }

    /// The belt breaks: nothing is transmitted to the hub any more.
    pub fn break_belt(&mut self) {
        self.broken = true;
    }

    /// The supply falls by this, V (at most to a volt), and the power stage's limit with it.
    pub fn sag_supply_v(&mut self, sag_v: f64) {
        let motor = &mut self.parameters.motor;
        let left = (motor.supply_v - sag_v).max(1.0);
        motor.voltage_limit_v *= left / motor.supply_v;
        motor.supply_v = left;
        self.current_loop.set_motor(*motor);
    }
}
