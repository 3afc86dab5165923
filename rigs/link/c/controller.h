/* The skeleton of a rig controller: the device's side of PROTOCOL.md as a state machine, in plain C99 without allocation.
 * To put it onto a board, fill the three functions of `struct tr_board`, describe the rig in `struct tr_settings`, and call
 * from one context, a timer that comes every `step_us`:
 *
 *     tr_controller_receive(&c, now, bytes, n);            // what came in since the last step
 *     tr_controller_step(&c, now);                         // reads sensors, watches limits, plays, samples
 *     n = tr_controller_transmit(&c, buffer, sizeof buffer);  // what goes out
 *
 * `now` is the board's clock in microseconds since boot, 64 bits wide. docs/firmware.md says what else must be true.
 * Software limits are no safety function: the emergency stop cuts the power stage by wire. */
#ifndef TRUERIM_CONTROLLER_H
#define TRUERIM_CONTROLLER_H

#include "truerim_link.h"

/* Memory; all of it is inside `struct tr_controller`. */
#ifndef TR_QUEUE
#define TR_QUEUE 256 /* setpoints, 64 or more */
#endif
#ifndef TR_STORED
#define TR_STORED 6 /* frames that wait to be carried out; more are lost, as on a bad line */
#endif
#ifndef TR_OUT
#define TR_OUT 4096 /* bytes that wait to be sent */
#endif

/* What the power stage does. */
enum tr_power { TR_POWER_OFF = 0, TR_POWER_TORQUE = 1, TR_POWER_BRAKE = 2 };

/* Counts from the encoders. */
struct tr_angles {
    int32_t rim, motor;
};

/* Counts from the converters, and the emergency-stop input as it is now (1: closed; a broken wire must read as 0). */
struct tr_inputs {
    int32_t torque, current, temperature, supply, other;
    uint8_t emergency_stop_closed;
};

/* The three functions to fill. They must not wait. */
struct tr_board {
    void *context;
    /* Power stage: off, torque of `counts` (32,767 is full scale), or windings shorted. Called at every step, and at once
     * when torque ends. */
    void (*torque_out)(void *context, enum tr_power power, int16_t counts);
    /* Encoders; 0 when they gave no valid value. */
    int (*encoder_in)(void *context, struct tr_angles *angles);
    /* Converters and emergency-stop input; 0 when a limit cannot be watched by them. */
    int (*adc_in)(void *context, struct tr_inputs *inputs);
};

/* What the rig is, and what it allows whatever the bench asks. Setpoint, torque and rim angle channels are a must; of a
 * kind that is looked at (torque, rim angle, temperature, supply) there is at most one. */
struct tr_settings {
    const char *model, *serial, *firmware;
    uint16_t capabilities; /* TR_CAN_BRAKE and so on */
    double full_scale_nm;
    uint32_t step_us; /* between two control steps, 500 at most */
    uint32_t min_sample_period_us;
    uint8_t channel_count;
    const struct tr_channel *channels; /* index fields 0, 1, 2 … */
    uint16_t torque_limit_raw;
    uint32_t rim_speed_limit_mrad_s;
    uint32_t sensor_torque_limit_mnm;
    int16_t temperature_limit_cdeg;
    double supply_low_v, supply_high_v;
    uint32_t seed; /* drawn anew at each boot: noise of a converter, a hardware generator; not a constant */
};

struct tr_entry {
    uint64_t tick;
    int16_t raw;
    uint8_t ends;
};

struct tr_stored_frame {
    uint64_t tick;
    uint16_t sequence, length;
    uint8_t kind;
    uint8_t payload[TR_MAX_PAYLOAD];
};

/* All of the controller. Read it if you like; change nothing. */
struct tr_controller {
    const struct tr_settings *settings;
    const struct tr_board *board;
    uint64_t now;
    uint32_t random, boot_id;
    /* state */
    uint8_t state, cause, configured, sampling, fault;
    struct tr_configuration applied;
    uint32_t applied_crc;
    int32_t armed_angle_urad;
    uint8_t armed_angle_known;
    /* arming */
    uint8_t challenge_out, stamped, fed;
    uint32_t challenge;
    uint64_t challenge_tick, greatest_stamp, last_feed;
    /* emergency stop */
    uint8_t estop_closed, estop_closing;
    uint64_t estop_since;
    /* sensors */
    uint8_t measured, seen[TR_TRIP_INTERNAL + 1];
    struct tr_angles angles;
    struct tr_inputs inputs;
    int32_t past_rim[4];
    uint64_t past_tick[4];
    uint8_t past_count, past_next;
    int32_t rest_rim;
    uint64_t rest_since;
    double rim_urad;
    /* brake */
    uint8_t braking;
    uint64_t brake_since;
    /* queue */
    struct tr_entry queue[TR_QUEUE];
    uint16_t queue_first, queue_count;
    struct tr_entry in_force;
    uint8_t has_in_force, idle;
    int16_t played;
    uint64_t slew_left, last_play, idle_since;
    /* samples */
    uint64_t next_row, last_row, last_batch, batch_tick;
    uint8_t batch_rows, rows_wanted, row_bytes;
    uint16_t batch_bytes;
    uint8_t batch[TR_MAX_ROWS];
    uint64_t next_status;
    /* line */
    struct tr_splitter splitter;
    struct tr_stored_frame stored[TR_STORED];
    uint8_t stored_first, stored_count;
    uint8_t out[TR_OUT];
    size_t out_first, out_count;
    uint16_t sequence;
    /* counters since boot */
    uint32_t events, trips, underruns, late_setpoints, expired, bad_frames, lost_batches;
    uint64_t rationed[3];
    uint8_t rationed_before[3];
};

/* Power-up: Idle, power stage off, event Booted. `settings` and `board` must outlive the controller. */
void tr_controller_boot(struct tr_controller *c, const struct tr_settings *settings, const struct tr_board *board,
                        uint64_t now);

/* Bytes from the bench, in order. A stop among them is carried out before this returns. */
void tr_controller_receive(struct tr_controller *c, uint64_t now, const uint8_t *bytes, size_t length);

/* One control step. */
void tr_controller_step(struct tr_controller *c, uint64_t now);

/* Takes up to `room` bytes to be sent; returns how many. */
size_t tr_controller_transmit(struct tr_controller *c, uint8_t *out, size_t room);

/* The board's own tests: 1 reports a fault of the controller (trips at the next step, whatever the state), 0 that it is
 * gone. */
void tr_controller_fault(struct tr_controller *c, uint8_t there);

#endif
