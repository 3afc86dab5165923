//! The car's state and its rate of change: a single track with slip that lags (Pacejka, ch. 1 and 7), and two front wheels on
//! springs (quarter-car model).

use crate::{
    car::Car,
    steering::Wheel,
    tyre::{Grip, slip_rate},
};

/// Number of values of a state.
pub const STATES: usize = 13;

/// A state: speed to the right, m/s; yaw rate, rad/s; slip of the front and the rear contact; angle of the rim, rad; then for
/// the left and the right front wheel height of body and wheel, m, and their speeds, m/s, all counted from rest.
pub type State = [f64; STATES];

/// What acts on the car from outside at one instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Outside {
    /// Angle of the rim that the driver's arms are on the way to, rad.
    pub rim_rad: f64,
    /// Lag of the arms, s; above 0.
    pub arms_s: f64,
    /// Share of the rear axle's grip that driving leaves for cornering.
    pub rear_grip: f64,
    /// Height, m, and slope of the road under the left and the right front wheel.
    pub road: [[f64; 2]; 2],
}

/// Forces of one instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Forces {
    /// Both front wheels, left first.
    pub wheels: [Wheel; 2],
    /// Rear axle, N.
    pub rear_n: f64,
}

impl Forces {
    /// Side force of the front axle, N.
    pub fn front_n(&self) -> f64 {
        self.wheels.iter().map(|wheel| wheel.grip.side_n).sum()
    }
}

/// Slip of the front and the rear wheels (tangents of the slip angles), before any lag.
pub fn wheel_slips(car: &Car, speed_m_per_s: f64, state: &State) -> [f64; 2] {
    let [across, yaw, _, _, rim, ..] = *state;
    let front = rim / car.steering.ratio - libm::atan2(across + car.to_front_m * yaw, speed_m_per_s);
    let rear = -libm::atan2(across - car.to_rear_m * yaw, speed_m_per_s);
    [libm::tan(front), libm::tan(rear)]
}

/// The forces at a state.
pub fn forces(car: &Car, state: &State, outside: &Outside) -> Forces {
    let corner = &car.corner;
    // Each front tyre has half of the axle's stiffness.
    let mut tyre = car.front;
    tyre.cornering_stiffness_n_per_rad *= 0.5;
    let wheel = |side: usize| {
        let [height, slope] = outside.road[side];
        let pressed_n = corner.tyre_n_per_m * (height - state[5 + 4 * side + 1]);
        let load_n = (0.5 * car.front_load_n() + pressed_n).max(0.0);
        let grip = tyre.grip(state[2], car.friction * load_n);
        // On a slope the road pushes back by its share of the load.
        let along_n = -load_n * slope;
        Wheel {
            grip,
            load_n,
            along_n,
        }
    };
    let rear_most_n = car.friction * car.rear_load_n() * outside.rear_grip;
    let rear: Grip = car.rear.grip(state[3], rear_most_n);
    Forces {
        wheels: [wheel(0), wheel(1)],
        rear_n: rear.side_n,
    }
}

/// Rate of change of a state at a steady speed forward, 1/s.
pub fn rate(car: &Car, speed_m_per_s: f64, state: &State, outside: &Outside) -> State {
    let forces = forces(car, state, outside);
    let [_, yaw, front, rear, rim, ..] = *state;
    let turned = rim / car.steering.ratio;
    let front_n = forces.front_n() * libm::cos(turned);
    let slips = wheel_slips(car, speed_m_per_s, state);
    let mut rate = [0.0; STATES];
    rate[0] = (front_n + forces.rear_n) / car.mass_kg - speed_m_per_s * yaw;
    rate[1] = (car.to_front_m * front_n - car.to_rear_m * forces.rear_n) / car.yaw_inertia_kg_m2;
    rate[2] = slip_rate(slips[0], front, speed_m_per_s, car.relaxation_m);
    rate[3] = slip_rate(slips[1], rear, speed_m_per_s, car.relaxation_m);
    rate[4] = (outside.rim_rad - rim) / outside.arms_s;
    let corner = &car.corner;
    for (side, wheel) in forces.wheels.iter().enumerate() {
        let at = 5 + 4 * side;
        let [body, hub, body_speed, hub_speed] = [state[at], state[at + 1], state[at + 2], state[at + 3]];
        let spring_n =
            corner.spring_n_per_m * (hub - body) + corner.damper_n_s_per_m * (hub_speed - body_speed);
        rate[at] = body_speed;
        rate[at + 1] = hub_speed;
        rate[at + 2] = spring_n / corner.sprung_kg;
        rate[at + 3] = (wheel.load_n - 0.5 * car.front_load_n() - spring_n) / corner.unsprung_kg;
    }
    rate
}
