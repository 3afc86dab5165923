/* The line and what goes out on it: frames, reports, samples (PROTOCOL.md 5.15 to 5.20, 8). */
#include "controller_parts.h"

#include <string.h>

#define STATUS_US 50000u
#define RATION_US 100000u
#define BATCH_US 1000u

int tr_send(struct tr_controller *c, const struct tr_message *message, enum tr_keep keep)
{
    uint8_t frame[TR_MAX_FRAME];
    size_t length = tr_encode(message, c->sequence, frame, sizeof frame), i;
    c->sequence++; /* for a lost frame too: the gap tells the bench */
    if (length == 0 || c->out_count + length + (size_t)keep > TR_OUT) {
        return 0;
    }
    for (i = 0; i < length; i++) {
        c->out[(c->out_first + c->out_count++) % TR_OUT] = frame[i];
    }
    return 1;
}

size_t tr_controller_transmit(struct tr_controller *c, uint8_t *out, size_t room)
{
    size_t i;
    for (i = 0; i < room && c->out_count > 0; i++) {
        out[i] = c->out[c->out_first];
        c->out_first = (c->out_first + 1) % TR_OUT;
        c->out_count--;
    }
    return i;
}

void tr_controller_receive(struct tr_controller *c, uint64_t now, const uint8_t *bytes, size_t length)
{
    size_t i;
    c->now = now;
    for (i = 0; i < length; i++) {
        struct tr_frame frame;
        enum tr_result result = tr_splitter_push(&c->splitter, bytes[i], &frame);
        if (result == TR_NOTHING) {
            continue;
        }
        if (result != TR_FRAME || frame.kind >= 0x80) {
            tr_bad_frame(c, result == TR_BAD_VERSION);
        } else if (frame.kind == TR_STOP) {
            tr_stop_now(c, &frame); /* overtakes whatever is stored */
        } else if (c->stored_count == TR_STORED) {
            tr_bad_frame(c, 0); /* nobody takes the answers: this one is lost, as on a bad line */
        } else {
            struct tr_stored_frame *place = &c->stored[(c->stored_first + c->stored_count++) % TR_STORED];
            place->tick = now;
            place->kind = frame.kind;
            place->sequence = frame.sequence;
            place->length = (uint16_t)frame.length;
            memcpy(place->payload, frame.payload, frame.length);
        }
    }
}

int tr_may_report(struct tr_controller *c, enum tr_rationed what)
{
    if (c->rationed_before[what] && c->now - c->rationed[what] < RATION_US) {
        return 0;
    }
    c->rationed_before[what] = 1;
    c->rationed[what] = c->now;
    return 1;
}

void tr_report_event(struct tr_controller *c, enum tr_event_code code, int32_t detail)
{
    struct tr_message m = {0};
    m.kind = TR_EVENT;
    m.as.event.tick = c->now;
    m.as.event.number = ++c->events;
    m.as.event.code = (uint8_t)code;
    m.as.event.detail = detail;
    tr_send(c, &m, TR_KEEP_EVENT);
}

void tr_report_status(struct tr_controller *c, enum tr_keep keep)
{
    struct tr_message m = {0};
    struct tr_status *s = &m.as.status;
    m.kind = TR_STATUS;
    s->tick = c->now;
    s->state = c->state;
    s->trip = c->state == TR_TRIPPED ? c->cause : TR_TRIP_NONE;
    s->sampling = c->sampling;
    s->emergency_stop_closed = c->estop_closed;
    s->credit = tr_credit(c);
    s->trips = c->trips;
    s->underruns = c->underruns;
    s->late_setpoints = c->late_setpoints;
    s->expired = c->expired;
    s->bad_frames = c->bad_frames;
    s->lost_batches = c->lost_batches;
    s->armed_angle_urad = c->armed_angle_urad;
    tr_send(c, &m, keep);
}

void tr_report_stopped(struct tr_controller *c, uint8_t mode)
{
    struct tr_message m = {0};
    m.kind = TR_STOPPED;
    m.as.stopped.tick = c->now;
    m.as.stopped.mode = mode;
    m.as.stopped.state = c->state;
    tr_send(c, &m, TR_KEEP_ANSWER);
}

void tr_refuse(struct tr_controller *c, uint8_t kind, uint16_t sequence, enum tr_refusal_code code, int32_t detail)
{
    struct tr_message m = {0};
    m.kind = TR_REFUSED;
    m.as.refused.kind = kind;
    m.as.refused.sequence = sequence;
    m.as.refused.code = (uint8_t)code;
    m.as.refused.detail = detail;
    tr_send(c, &m, TR_KEEP_ANSWER);
}

void tr_bad_frame(struct tr_controller *c, int of_other_version)
{
    c->bad_frames++;
    if (tr_may_report(c, TR_RATION_BAD_FRAME)) {
        tr_report_event(c, TR_EVENT_BAD_FRAME, (int32_t)(c->bad_frames & 0x7FFFFFFFu));
    }
    if (of_other_version && tr_may_report(c, TR_RATION_VERSION)) {
        tr_refuse(c, 0, 0, TR_REFUSED_VERSION, TR_PROTOCOL_MAJOR);
    }
}

void tr_sampling_begin(struct tr_controller *c)
{
    uint32_t rows, period = c->applied.sample_period_us;
    if (c->sampling) {
        return; /* the grid of sample ticks goes on */
    }
    rows = BATCH_US / period;
    if (rows > (uint32_t)TR_MAX_ROWS / c->row_bytes) {
        rows = (uint32_t)TR_MAX_ROWS / c->row_bytes;
    }
    c->rows_wanted = (uint8_t)(rows < 1 ? 1 : rows > 255 ? 255 : rows);
    c->sampling = 1;
    c->batch_rows = 0;
    c->batch_bytes = 0;
    c->next_row = c->now + c->settings->step_us;
    c->last_row = c->last_batch = c->now;
    c->next_status = c->now + STATUS_US;
}

void tr_sampling_end(struct tr_controller *c)
{
    c->sampling = 0;
    c->batch_rows = 0;
    c->batch_bytes = 0;
}

static void send_batch(struct tr_controller *c)
{
    struct tr_message m = {0};
    struct tr_samples *s = &m.as.samples;
    if (c->batch_rows == 0) {
        return;
    }
    m.kind = TR_SAMPLES;
    s->first_tick = c->batch_tick;
    s->period_us = c->applied.sample_period_us;
    s->state = c->state;
    s->credit = tr_credit(c);
    s->row_bytes = c->row_bytes;
    s->rows = c->batch_rows;
    s->counts = c->batch;
    if (tr_send(c, &m, TR_KEEP_SAMPLES)) {
        c->last_batch = c->now;
    } else {
        c->lost_batches++;
    }
    c->batch_rows = 0;
    c->batch_bytes = 0;
}

static int32_t count_of(const struct tr_controller *c, uint8_t kind)
{
    switch (kind) {
    case TR_CHANNEL_SETPOINT:
        return c->state == TR_ARMED ? c->played : 0;
    case TR_CHANNEL_TORQUE:
        return c->inputs.torque;
    case TR_CHANNEL_RIM_ANGLE:
        return c->angles.rim;
    case TR_CHANNEL_MOTOR_ANGLE:
        return c->angles.motor;
    case TR_CHANNEL_CURRENT:
        return c->inputs.current;
    case TR_CHANNEL_TEMPERATURE:
        return c->inputs.temperature;
    case TR_CHANNEL_SUPPLY:
        return c->inputs.supply;
    default:
        return c->inputs.other;
    }
}

static void put_row(struct tr_controller *c)
{
    uint8_t i;
    for (i = 0; i < c->settings->channel_count; i++) {
        const struct tr_channel *channel = &c->settings->channels[i];
        int32_t count = count_of(c, channel->kind);
        uint32_t bits;
        uint8_t at;
        if (channel->width == TR_I16) { /* cut to its ends, where the channel is saturated */
            count = count > INT16_MAX ? INT16_MAX : count < INT16_MIN ? INT16_MIN : count;
        }
        bits = (uint32_t)count;
        for (at = 0; at < channel->width; at++) {
            c->batch[c->batch_bytes++] = (uint8_t)(bits >> (8 * at) & 0xFFu);
        }
    }
}

/* Latches the row that is due now. A step that came late has missed its rows: the batch ends before them. */
void tr_sample(struct tr_controller *c)
{
    uint32_t period = c->applied.sample_period_us;
    if (!c->sampling) {
        return;
    }
    if (c->now > c->next_row) {
        uint64_t missed = (c->now - c->next_row + period - 1) / period;
        send_batch(c);
        c->lost_batches++;
        c->next_row += missed * period;
    }
    if (c->now == c->next_row) {
        if (c->batch_rows == 0) {
            c->batch_tick = c->now;
        }
        put_row(c);
        c->batch_rows++;
        c->last_row = c->now;
        c->next_row += period;
    }
    if (c->batch_rows >= c->rows_wanted || (c->batch_rows > 0 && c->now - c->batch_tick >= BATCH_US)) {
        send_batch(c);
    }
    if (c->now >= c->next_status) {
        c->next_status += STATUS_US;
        tr_report_status(c, TR_KEEP_STATUS);
    }
}

int tr_sampling_stalled(const struct tr_controller *c)
{
    uint64_t longest = 2 * (uint64_t)c->applied.sample_period_us;
    if (longest < c->applied.watchdog_us) {
        longest = c->applied.watchdog_us;
    }
    return c->sampling && (c->now - c->last_row > longest || c->now - c->last_batch > longest);
}
