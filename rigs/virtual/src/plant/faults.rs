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

    /// A hand holds the rim from now on with this friction, N·m, once it has given by friction/σ0 of the output side; 0 lets
    /// go.
    pub fn set_grab_nm(&mut self, grab_nm: f64) {
        self.grab_nm = grab_nm;
    }

    /// A blow changes the rim's speed by this, rad/s.
    pub fn strike(&mut self, change_rad_s: f64) {
        self.hub_speed_rad_s += change_rad_s;
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
