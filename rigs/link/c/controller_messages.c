/* Carrying out messages (PROTOCOL.md 7.2 to 7.6, 7.9). */
#include "controller_parts.h"

#include <string.h>

static void refused(struct tr_controller *c, const struct tr_stored_frame *f, enum tr_refusal_code code, int32_t detail)
{
    tr_refuse(c, f->kind, f->sequence, code, detail);
}

static void wrong_state(struct tr_controller *c, const struct tr_stored_frame *f)
{
    refused(c, f, TR_REFUSED_WRONG_STATE, c->state);
}

static void copy_text(char *into, const char *from, size_t size)
{
    size_t i;
    for (i = 0; i + 1 < size && from[i] != 0; i++) {
        into[i] = from[i];
    }
    into[i] = 0;
}

static void identity(struct tr_controller *c, uint32_t nonce)
{
    const struct tr_settings *s = c->settings;
    struct tr_message m = {0};
    struct tr_identity *i = &m.as.identity;
    m.kind = TR_IDENTITY;
    i->major = TR_PROTOCOL_MAJOR;
    i->minor = TR_PROTOCOL_MINOR;
    i->nonce = nonce;
    i->boot_id = c->boot_id;
    i->tick = c->now;
    i->capabilities = s->capabilities;
    i->channels = s->channel_count;
    i->queue_capacity = TR_QUEUE;
    i->min_sample_period_us = s->min_sample_period_us;
    i->full_scale_nm = s->full_scale_nm;
    copy_text(i->model, s->model, sizeof i->model);
    copy_text(i->serial, s->serial, sizeof i->serial);
    copy_text(i->firmware, s->firmware, sizeof i->firmware);
    tr_send(c, &m, TR_KEEP_ANSWER);
}

static uint32_t least(uint32_t a, uint32_t b)
{
    return a < b ? a : b;
}

/* 7.4: nothing is applied wider than asked, and nothing wider than the rig allows. */
static void configure(struct tr_controller *c, const struct tr_stored_frame *f, const struct tr_configuration *asked)
{
    const struct tr_settings *s = c->settings;
    struct tr_message m = {0};
    struct tr_configuration a = *asked;
    int field = tr_configuration_out_of_range(asked);
    if (c->state != TR_IDLE && c->state != TR_READY) {
        wrong_state(c, f);
        return;
    }
    if (field >= 0) {
        refused(c, f, TR_REFUSED_OUT_OF_RANGE, field);
        return;
    }
    if (a.sample_period_us < s->min_sample_period_us) {
        a.sample_period_us = s->min_sample_period_us;
    }
    a.sample_period_us = (a.sample_period_us + s->step_us - 1) / s->step_us * s->step_us;
    a.torque_limit_raw = (uint16_t)least(a.torque_limit_raw, s->torque_limit_raw);
    a.rim_speed_limit_mrad_s = least(a.rim_speed_limit_mrad_s, s->rim_speed_limit_mrad_s);
    a.sensor_torque_limit_mnm = least(a.sensor_torque_limit_mnm, s->sensor_torque_limit_mnm);
    if (a.temperature_limit_cdeg > s->temperature_limit_cdeg) {
        a.temperature_limit_cdeg = s->temperature_limit_cdeg;
    }
    if (!(s->capabilities & TR_CAN_BRAKE)) {
        a.stop_mode = TR_COAST;
    }
    c->applied = a;
    c->applied_crc = tr_configuration_crc(&a);
    c->configured = 1;
    tr_sampling_end(c);
    c->challenge_out = 0;
    c->stamped = c->fed = 0;
    c->state = TR_READY;
    m.kind = TR_CONFIGURED;
    m.as.configured.applied = a;
    m.as.configured.crc = c->applied_crc;
    tr_send(c, &m, TR_KEEP_ANSWER);
    tr_look(c); /* under the new limits */
}

/* 7.5 */
static void keep_alive(struct tr_controller *c, const struct tr_stored_frame *f, uint64_t stamp)
{
    struct tr_message m = {0};
    if (!c->stamped || stamp > c->greatest_stamp) {
        c->stamped = c->fed = 1;
        c->greatest_stamp = stamp;
        c->last_feed = c->now;
    }
    m.kind = TR_ECHO;
    m.as.echo.host_ns = stamp;
    m.as.echo.received_tick = f->tick;
    m.as.echo.sent_tick = c->now;
    tr_send(c, &m, TR_KEEP_ANSWER);
}

int tr_feed_is_fresh(const struct tr_controller *c)
{
    return c->fed && c->now - c->last_feed <= c->applied.watchdog_us;
}

/* Checks 1 to 4 of arming; refuses and returns 0 when one fails. */
static int may_arm(struct tr_controller *c, const struct tr_stored_frame *f, uint32_t crc)
{
    int cause;
    if (crc != c->applied_crc) {
        uint32_t bits = c->applied_crc;
        int32_t detail;
        memcpy(&detail, &bits, sizeof detail);
        refused(c, f, TR_REFUSED_WRONG_CONFIGURATION, detail);
        return 0;
    }
    if (!c->sampling) {
        wrong_state(c, f);
        return 0;
    }
    if (!c->estop_closed) {
        refused(c, f, TR_REFUSED_EMERGENCY_STOP_OPEN, 0);
        return 0;
    }
    for (cause = TR_TRIP_RIM_SPEED; cause <= TR_TRIP_INTERNAL; cause++) {
        int there = c->seen[cause];
        if (cause == TR_TRIP_RIM_WINDOW && c->applied.window_reference == TR_FROM_ARMING) {
            there = c->applied.window_low_urad > 0 || c->applied.window_high_urad < 0;
        }
        if (there) {
            refused(c, f, TR_REFUSED_CAUSE_REMAINS, cause);
            return 0;
        }
    }
    return 1;
}

static void arm_request(struct tr_controller *c, const struct tr_stored_frame *f, uint32_t crc)
{
    struct tr_message m = {0};
    uint32_t number = c->random;
    if (c->state != TR_READY) {
        wrong_state(c, f);
        return;
    }
    if (!may_arm(c, f, crc)) {
        return;
    }
    c->challenge = number == c->challenge ? number + 1 : number;
    c->challenge_out = 1;
    c->challenge_tick = c->now;
    m.kind = TR_ARM_CHALLENGE;
    m.as.arm_challenge.challenge = c->challenge;
    m.as.arm_challenge.valid_us = TR_CHALLENGE_VALID_US;
    tr_send(c, &m, TR_KEEP_ANSWER);
}

static void arm_confirm(struct tr_controller *c, const struct tr_stored_frame *f, const struct tr_arm_confirm *m)
{
    int valid = c->challenge_out && m->challenge == c->challenge && c->now - c->challenge_tick <= TR_CHALLENGE_VALID_US;
    c->challenge_out = 0; /* whatever the outcome */
    if (c->state != TR_READY) {
        wrong_state(c, f);
        return;
    }
    if (!valid) {
        refused(c, f, TR_REFUSED_WRONG_CHALLENGE, 0);
        return;
    }
    if (!may_arm(c, f, m->configuration_crc)) {
        return;
    }
    if (!tr_feed_is_fresh(c)) {
        wrong_state(c, f);
        return;
    }
    tr_queue_clear(c);
    c->armed_angle_urad = c->rim_urad > INT32_MAX   ? INT32_MAX
                          : c->rim_urad < INT32_MIN ? INT32_MIN
                                                    : (int32_t)(c->rim_urad + (c->rim_urad < 0 ? -0.5 : 0.5));
    c->armed_angle_known = 1;
    c->last_row = c->last_batch = c->now;
    c->state = TR_ARMED;
    tr_look(c);
    tr_report_status(c, TR_KEEP_ANSWER);
    tr_report_event(c, TR_EVENT_ARMED, 0);
}

/* 7.9: whether the latched cause is still there. */
static int remains(const struct tr_controller *c)
{
    switch (c->cause) {
    case TR_TRIP_WATCHDOG:
        return !tr_feed_is_fresh(c);
    case TR_TRIP_EMERGENCY_STOP:
        return !c->estop_closed;
    case TR_TRIP_RIM_WINDOW:
        return c->applied.window_reference == TR_FROM_ZERO && c->seen[TR_TRIP_RIM_WINDOW];
    case TR_TRIP_SETPOINT_EXPIRED:
        return 0;
    default:
        return c->seen[c->cause];
    }
}

static void clear_trip(struct tr_controller *c, const struct tr_stored_frame *f, uint32_t trips)
{
    if (c->state != TR_TRIPPED) {
        wrong_state(c, f);
    } else if (trips != c->trips) {
        refused(c, f, TR_REFUSED_CAUSE_REMAINS, 0);
    } else if (c->braking || remains(c)) {
        refused(c, f, TR_REFUSED_CAUSE_REMAINS, c->cause);
    } else {
        c->cause = TR_TRIP_NONE;
        c->state = c->configured ? TR_READY : TR_IDLE;
        tr_report_status(c, TR_KEEP_ANSWER);
    }
}

static void sampling(struct tr_controller *c, const struct tr_stored_frame *f, int on)
{
    if (on ? !c->configured : c->state == TR_ARMED) {
        wrong_state(c, f);
        return;
    }
    if (on) {
        tr_sampling_begin(c);
    } else {
        tr_sampling_end(c);
        c->challenge_out = 0;
    }
    tr_report_status(c, TR_KEEP_ANSWER);
}

static void setpoints(struct tr_controller *c, const struct tr_stored_frame *f, const struct tr_setpoints *m)
{
    int32_t detail;
    enum tr_refusal_code code;
    if (c->state != TR_ARMED) {
        wrong_state(c, f);
        return;
    }
    code = tr_queue_take(c, m, &detail);
    if (code != 0) {
        refused(c, f, code, detail);
    }
}

void tr_carry_out(struct tr_controller *c, const struct tr_stored_frame *f)
{
    struct tr_frame frame;
    struct tr_message m, answer = {0};
    enum tr_result result;
    frame.kind = f->kind;
    frame.sequence = f->sequence;
    frame.length = f->length;
    frame.payload = f->payload;
    result = tr_parse(&frame, &m);
    if (result != TR_OK) {
        refused(c, f, result == TR_MALFORMED ? TR_REFUSED_MALFORMED : TR_REFUSED_UNKNOWN_KIND,
                result == TR_MALFORMED ? f->length : f->kind);
        return;
    }
    switch (f->kind) {
    case TR_HELLO:
        if (m.as.hello.major != TR_PROTOCOL_MAJOR) {
            refused(c, f, TR_REFUSED_VERSION, TR_PROTOCOL_MAJOR);
        } else {
            identity(c, m.as.hello.nonce);
        }
        return;
    case TR_DESCRIBE_CHANNEL:
        if (m.as.describe_channel.index >= c->settings->channel_count) {
            refused(c, f, TR_REFUSED_OUT_OF_RANGE, 0);
        } else {
            answer.kind = TR_CHANNEL;
            answer.as.channel = c->settings->channels[m.as.describe_channel.index];
            tr_send(c, &answer, TR_KEEP_ANSWER);
        }
        return;
    case TR_CONFIGURE:
        configure(c, f, &m.as.configure);
        return;
    case TR_START_SAMPLING:
        sampling(c, f, 1);
        return;
    case TR_STOP_SAMPLING:
        sampling(c, f, 0);
        return;
    case TR_ARM_REQUEST:
        arm_request(c, f, m.as.arm_request.configuration_crc);
        return;
    case TR_ARM_CONFIRM:
        arm_confirm(c, f, &m.as.arm_confirm);
        return;
    case TR_KEEP_ALIVE:
        keep_alive(c, f, m.as.keep_alive.host_ns);
        return;
    case TR_SETPOINTS:
        setpoints(c, f, &m.as.setpoints);
        return;
    case TR_CLEAR_TRIP:
        clear_trip(c, f, m.as.clear_trip.trips);
        return;
    default:
        tr_report_status(c, TR_KEEP_ANSWER); /* StatusRequest: stops never come here */
        return;
    }
}
