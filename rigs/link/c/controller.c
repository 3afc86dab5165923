/* States, limits and the ways out of torque (PROTOCOL.md 7.1, 7.8, 7.10); one control step. */
#include "controller_parts.h"

#include <string.h>

#define ESTOP_STEADY_US 20000u
#define REST_US 20000u
#define REST_URAD 1000.0 /* 0.05 rad/s for 20 ms */
#define SPEED_US 1000u

static void output(struct tr_controller *c)
{
    if (c->state == TR_ARMED) {
        c->board->torque_out(c->board->context, TR_POWER_TORQUE, c->played);
    } else {
        c->board->torque_out(c->board->context, c->braking ? TR_POWER_BRAKE : TR_POWER_OFF, 0);
    }
}

static void stir(struct tr_controller *c, uint32_t by)
{
    /* The finaliser of MurmurHash3 (Appleby, public domain) over what nobody foresees: converter noise, arrival times. */
    uint32_t x = c->random ^ by;
    x ^= x >> 16;
    x *= 0x85EBCA6Bu;
    x ^= x >> 13;
    x *= 0xC2B2AE35u;
    x ^= x >> 16;
    c->random = x + 0x9E3779B9u;
}

void tr_controller_boot(struct tr_controller *c, const struct tr_settings *settings, const struct tr_board *board,
                        uint64_t now)
{
    uint8_t i;
    memset(c, 0, sizeof *c);
    c->settings = settings;
    c->board = board;
    c->now = now;
    c->random = settings->seed;
    stir(c, (uint32_t)now);
    c->boot_id = c->random;
    tr_splitter_init(&c->splitter);
    for (i = 0; i < settings->channel_count; i++) {
        c->row_bytes = (uint8_t)(c->row_bytes + settings->channels[i].width);
    }
    c->estop_closed = 1; /* until the first step looks */
    output(c);
    tr_report_event(c, TR_EVENT_BOOTED, 0);
}

void tr_controller_fault(struct tr_controller *c, uint8_t there)
{
    c->fault = there;
}

static const struct tr_channel *channel_of(const struct tr_controller *c, uint8_t kind)
{
    uint8_t i;
    for (i = 0; i < c->settings->channel_count; i++) {
        if (c->settings->channels[i].kind == kind) {
            return &c->settings->channels[i];
        }
    }
    return NULL;
}

static double value(const struct tr_channel *channel, int32_t count)
{
    return count * channel->scale + channel->offset;
}

static int at_end(const struct tr_channel *channel, int32_t count)
{
    return count <= channel->raw_min || count >= channel->raw_max;
}

/* Which causes show in what the sensors say, under the limits applied. */
void tr_look(struct tr_controller *c)
{
    const struct tr_channel *torque = channel_of(c, TR_CHANNEL_TORQUE), *rim = channel_of(c, TR_CHANNEL_RIM_ANGLE);
    const struct tr_channel *hot = channel_of(c, TR_CHANNEL_TEMPERATURE), *supply = channel_of(c, TR_CHANNEL_SUPPLY);
    const struct tr_configuration *a = &c->applied;
    uint8_t i, place, valid = c->seen[TR_TRIP_SENSOR_FAULT] == 0;
    double mnm, speed = 0.0, from;
    memset(c->seen, 0, sizeof c->seen);
    c->seen[TR_TRIP_INTERNAL] = c->fault;
    c->seen[TR_TRIP_SENSOR_FAULT] = (uint8_t)(!valid || !c->measured || torque == NULL || rim == NULL);
    if (c->seen[TR_TRIP_SENSOR_FAULT]) {
        return;
    }
    c->rim_urad = value(rim, c->angles.rim) * 1e6;
    /* The oldest look of the last millisecond: a coarse encoder's single step is no speed. */
    for (i = 0; i < c->past_count; i++) {
        place = (uint8_t)((c->past_next + 4 - c->past_count + i) % 4);
        if (c->now - c->past_tick[place] <= SPEED_US && c->now > c->past_tick[place]) {
            double moved = (double)(int32_t)((uint32_t)c->angles.rim - (uint32_t)c->past_rim[place]);
            speed = moved * rim->scale * 1e9 / (double)(c->now - c->past_tick[place]); /* mrad/s */
            break;
        }
    }
    if (!c->configured) {
        return;
    }
    c->seen[TR_TRIP_RIM_SPEED] = speed >= a->rim_speed_limit_mrad_s || -speed >= a->rim_speed_limit_mrad_s;
    from = a->window_reference == TR_FROM_ARMING ? c->armed_angle_urad : 0.0;
    c->seen[TR_TRIP_RIM_WINDOW] = c->rim_urad - from < a->window_low_urad || c->rim_urad - from > a->window_high_urad;
    mnm = value(torque, c->inputs.torque) * 1e3;
    c->seen[TR_TRIP_SENSOR_TORQUE] = at_end(torque, c->inputs.torque) || mnm >= a->sensor_torque_limit_mnm ||
                                     -mnm >= a->sensor_torque_limit_mnm;
    if (hot != NULL) {
        c->seen[TR_TRIP_SENSOR_FAULT] = (uint8_t)at_end(hot, c->inputs.temperature);
        c->seen[TR_TRIP_TEMPERATURE] = !c->seen[TR_TRIP_SENSOR_FAULT] &&
                                       value(hot, c->inputs.temperature) * 1e2 >= a->temperature_limit_cdeg;
    }
    if (supply != NULL) {
        double volts = value(supply, c->inputs.supply);
        c->seen[TR_TRIP_SUPPLY] = volts < c->settings->supply_low_v || volts > c->settings->supply_high_v;
    }
}

static void read_sensors(struct tr_controller *c)
{
    int good = c->board->encoder_in(c->board->context, &c->angles);
    good = c->board->adc_in(c->board->context, &c->inputs) && good;
    c->measured = 1;
    c->seen[TR_TRIP_SENSOR_FAULT] = (uint8_t)!good; /* tr_look() keeps it */
    stir(c, (uint32_t)c->inputs.torque ^ (uint32_t)c->inputs.supply << 16);
    tr_look(c);
    c->past_rim[c->past_next] = c->angles.rim;
    c->past_tick[c->past_next] = c->now;
    c->past_next = (uint8_t)((c->past_next + 1) % 4);
    if (c->past_count < 4) {
        c->past_count++;
    }
}

/* 1 when the brake began to act. */
static int begin_brake(struct tr_controller *c)
{
    if (!(c->settings->capabilities & TR_CAN_BRAKE) || !c->configured || c->applied.brake_us == 0) {
        return 0;
    }
    c->braking = 1;
    c->brake_since = c->rest_since = c->now;
    c->rest_rim = c->angles.rim;
    return 1;
}

void tr_trip(struct tr_controller *c, enum tr_trip_cause cause)
{
    int was_armed = c->state == TR_ARMED;
    c->challenge_out = 0;
    tr_queue_clear(c);
    if (was_armed && c->applied.stop_mode == TR_BRAKE) {
        begin_brake(c);
    }
    c->state = TR_TRIPPED;
    c->cause = (uint8_t)cause;
    output(c);
    c->trips++;
    tr_report_event(c, TR_EVENT_TRIPPED, (int32_t)cause);
    if (was_armed) {
        tr_report_event(c, TR_EVENT_DISARMED, TR_TRIPPED);
    }
    tr_report_status(c, TR_KEEP_STATUS);
}

/* 7.8; a payload without a meaning stops as the configuration says. */
void tr_stop_now(struct tr_controller *c, const struct tr_frame *frame)
{
    struct tr_message m;
    uint8_t mode = c->configured ? c->applied.stop_mode : TR_COAST;
    if (tr_parse(frame, &m) == TR_OK) {
        mode = m.as.stop.mode;
    }
    stir(c, (uint32_t)c->now);
    c->challenge_out = 0;
    if (c->state == TR_ARMED) {
        uint8_t brakes = (uint8_t)(mode == TR_BRAKE && begin_brake(c));
        tr_queue_clear(c);
        c->state = brakes ? TR_STOPPING : TR_READY;
        output(c);
        tr_report_stopped(c, brakes ? TR_BRAKE : TR_COAST);
        tr_report_event(c, TR_EVENT_DISARMED, c->state);
        tr_report_event(c, TR_EVENT_STOPPED, brakes ? TR_BRAKE : TR_COAST);
        tr_report_status(c, TR_KEEP_STATUS);
    } else if (c->braking && mode == TR_COAST) {
        uint8_t was_stopping = c->state == TR_STOPPING;
        c->braking = 0;
        if (was_stopping) {
            c->state = TR_READY;
        }
        output(c);
        tr_report_stopped(c, TR_COAST);
        tr_report_event(c, TR_EVENT_BRAKE_RELEASED, 0);
        if (was_stopping) {
            tr_report_status(c, TR_KEEP_STATUS);
        }
    } else {
        tr_report_stopped(c, c->braking ? TR_BRAKE : TR_COAST);
    }
}

/* Opening counts at once, closing after 20 ms. */
static void watch_emergency_stop(struct tr_controller *c)
{
    if (!(c->settings->capabilities & TR_HAS_EMERGENCY_STOP_INPUT)) {
        return;
    }
    if (!c->inputs.emergency_stop_closed) {
        c->estop_closing = 0;
        if (c->estop_closed) {
            c->estop_closed = 0;
            c->challenge_out = 0;
            tr_report_event(c, TR_EVENT_EMERGENCY_STOP_INPUT, 0);
            if (c->state == TR_ARMED || c->state == TR_STOPPING) {
                tr_trip(c, TR_TRIP_EMERGENCY_STOP);
            }
        }
    } else if (!c->estop_closed) {
        if (!c->estop_closing) {
            c->estop_closing = 1;
            c->estop_since = c->now;
        }
        if (c->now - c->estop_since >= ESTOP_STEADY_US) {
            c->estop_closed = 1;
            c->estop_closing = 0;
            tr_report_event(c, TR_EVENT_EMERGENCY_STOP_INPUT, 1);
        }
    }
}

/* The first cause of 7.10 that is there now, in the order of the codes; 0 for none. */
static enum tr_trip_cause cause_now(struct tr_controller *c, int expired)
{
    int cause;
    if (c->state == TR_ARMED && !tr_feed_is_fresh(c)) {
        return TR_TRIP_WATCHDOG;
    }
    if (expired) {
        return TR_TRIP_SETPOINT_EXPIRED;
    }
    if (c->state == TR_ARMED || c->state == TR_STOPPING) {
        for (cause = TR_TRIP_RIM_SPEED; cause < TR_TRIP_INTERNAL; cause++) {
            if (c->seen[cause]) {
                return (enum tr_trip_cause)cause;
            }
        }
    }
    if (c->state != TR_TRIPPED && (c->fault || (c->state == TR_ARMED && tr_sampling_stalled(c)))) {
        return TR_TRIP_INTERNAL;
    }
    return TR_TRIP_NONE;
}

static void play(struct tr_controller *c)
{
    int expired = c->state == TR_ARMED && tr_queue_advance(c);
    enum tr_trip_cause cause = cause_now(c, expired);
    if (cause != TR_TRIP_NONE) {
        tr_trip(c, cause);
        return;
    }
    if (c->state != TR_ARMED) {
        return;
    }
    tr_queue_apply(c);
    if (c->idle && c->now - c->idle_since >= TR_ARM_IDLE_US) {
        tr_queue_clear(c);
        c->state = TR_READY;
        output(c);
        tr_report_event(c, TR_EVENT_ARM_IDLE, 0);
        tr_report_event(c, TR_EVENT_DISARMED, TR_READY);
        tr_report_status(c, TR_KEEP_STATUS);
    }
}

/* The brake acts until the rim is at rest, or its time is over. */
static void run_brake(struct tr_controller *c)
{
    const struct tr_channel *rim = channel_of(c, TR_CHANNEL_RIM_ANGLE);
    int32_t counts = (int32_t)((uint32_t)c->angles.rim - (uint32_t)c->rest_rim);
    double moved;
    if (!c->braking) {
        return;
    }
    moved = rim == NULL ? 0.0 : counts * rim->scale * 1e6;
    /* One count to and fro is no motion, for an encoder that is coarser than that. */
    if ((moved > REST_URAD || -moved > REST_URAD) && (counts > 1 || counts < -1)) {
        c->rest_rim = c->angles.rim;
        c->rest_since = c->now;
    }
    if (c->now - c->rest_since >= REST_US || c->now - c->brake_since >= c->applied.brake_us) {
        c->braking = 0;
        output(c);
        tr_report_event(c, TR_EVENT_BRAKE_RELEASED, 0);
        if (c->state == TR_STOPPING) {
            c->state = TR_READY;
            tr_report_status(c, TR_KEEP_STATUS);
        }
    }
}

void tr_controller_step(struct tr_controller *c, uint64_t now)
{
    c->now = now;
    read_sensors(c);
    watch_emergency_stop(c);
    if (c->challenge_out && now - c->challenge_tick > TR_CHALLENGE_VALID_US) {
        c->challenge_out = 0;
    }
    while (c->stored_count > 0 && TR_OUT - c->out_count >= TR_ROOM_TO_ANSWER) {
        const struct tr_stored_frame *frame = &c->stored[c->stored_first];
        stir(c, (uint32_t)frame->tick ^ frame->sequence);
        tr_carry_out(c, frame);
        c->stored_first = (uint8_t)((c->stored_first + 1) % TR_STORED);
        c->stored_count--;
    }
    play(c);
    run_brake(c);
    output(c);
    tr_sample(c);
}
